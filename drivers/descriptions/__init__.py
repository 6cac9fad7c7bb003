"""Instruments described in data, one TOML file a kind; generic and standard-based."""
