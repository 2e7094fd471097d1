"""Names that a catalogue's folder is known by; apart, so that they cost nothing to load."""

SETTINGS_NAME = "backbench.toml"
