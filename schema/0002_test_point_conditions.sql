-- Further conditions of a test point; NULL is not asked for.
ALTER TABLE test_point ADD COLUMN level_v DOUBLE;        -- rms at an output without a load resistor
ALTER TABLE test_point ADD COLUMN tones_hz DOUBLE[];     -- of a two-tone stimulus
ALTER TABLE test_point ADD COLUMN metrics VARCHAR[];     -- the metrics that it is for
COMMENT ON COLUMN test_point.stimulus IS 'analysis kinds, separated by a comma and a space';
