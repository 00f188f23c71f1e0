"""What the household has chosen and taught: one TOML of settings, and one file a taught sounder."""
