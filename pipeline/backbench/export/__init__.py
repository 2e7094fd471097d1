"""The catalogue as open files: Parquet, CSV, a data dictionary, a package description."""
