"""What to run on this scenario: one TOML file a schedule."""
