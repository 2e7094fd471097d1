"""Every number with a unit, read and written: one reader, one table of units, one formatter."""
