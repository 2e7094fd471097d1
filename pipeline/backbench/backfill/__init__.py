"""Old records in spreadsheets, turned into reviews with entered readings."""
