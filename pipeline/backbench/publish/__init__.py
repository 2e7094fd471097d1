"""Sheets and the site."""
