"""Saved queries: header, parameters, run."""
