"""Stages in Python, where SQL is the wrong tool: a module with TABLE makes that one table."""
