"""Map files: reading with exact places, writing, TOML and CSV."""
