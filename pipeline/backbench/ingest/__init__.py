"""From a review folder to rows, as plain functions."""
