"""Metrics: one file a family, each declaring its metrics; registry.py finds them."""
