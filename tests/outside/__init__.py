"""Measures against other people's code, files and published values; one topic a file."""
