"""A unit beside others: what is read from the catalogue, and what the statistics make of it."""
