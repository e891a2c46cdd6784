"""The stages as SQL files in running order; columns.toml: the tables that no stage makes."""
