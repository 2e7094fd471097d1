"""Numbers with units, read and written."""
