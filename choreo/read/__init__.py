"""Files to model: schemas, JSON and TOML with positions, checks for meaning."""
