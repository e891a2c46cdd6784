"""How right the figures are: systems of the simulated world, measured and held to their truth."""
