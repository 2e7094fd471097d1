"""Names of the files that a reviewer writes; apart, so that they cost nothing to load."""

SETTINGS_NAME = "backbench.toml"
MANIFEST_NAME = "review.toml"
