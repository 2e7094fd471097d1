"""Numbered SQL migrations of the catalogue database."""
