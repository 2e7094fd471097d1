"""What people write: review.toml, backbench.toml, and their validation."""
