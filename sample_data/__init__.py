"""The sample site, the simulator that makes it and its ground truth (see README.md)."""
