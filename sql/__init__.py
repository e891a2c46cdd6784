"""The stages as SQL files in running order, and columns.toml: what each table holds."""
