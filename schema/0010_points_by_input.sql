-- Further conditions of a test point; NULL is not asked for.
ALTER TABLE test_point ADD COLUMN input_sort VARCHAR;    -- line, phono, moving coil
ALTER TABLE test_point ADD COLUMN volume VARCHAR;        -- full, or least: the lowest setting
