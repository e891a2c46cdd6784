"""The stages as plain SQL files, in running order, and columns.toml that says what each table holds."""
