"""Peers, ranks, trends and saved queries."""
