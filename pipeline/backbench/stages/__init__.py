"""The steps from a review folder to rows, as plain functions."""
