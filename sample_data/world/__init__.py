"""A simulated world of zone systems whose truth is known to the second."""
