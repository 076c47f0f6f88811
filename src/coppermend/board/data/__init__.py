"""Part types that come with the program, as TOML."""
