-- Further conditions of a test point; NULL is not asked for.
ALTER TABLE test_point ADD COLUMN input_sort VARCHAR;    -- line, phono, moving coil
ALTER TABLE test_point ADD COLUMN volume_setting VARCHAR; -- full, or least: the lowest setting

-- Further conditions of a published figure; NULL where the maker states none.
ALTER TABLE published ADD COLUMN weighting VARCHAR;      -- A, none
ALTER TABLE published ADD COLUMN driven VARCHAR;         -- all: every output at once; one
ALTER TABLE published ADD COLUMN supply_vrms DOUBLE;
