"""A seeded physical simulator of a forced-air zone system: house, weather, loggers, truth."""
