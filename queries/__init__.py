"""Saved queries, one SQL file each."""
