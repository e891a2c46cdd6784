"""How sure a counted share is."""

from __future__ import annotations

from math import sqrt

NINETEEN_IN_TWENTY = 1.959964


def wilson(hit: int, of: int) -> tuple[float, float]:
    """Wilson's interval of a share at 95 %; of nothing it is anywhere from 0 to 1.

    Source: E. B. Wilson, JASA 22 (1927), 209-212.
    """
    if of == 0:
        return 0.0, 1.0
    z, share = NINETEEN_IN_TWENTY, hit / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(0.0, middle - half), min(1.0, middle + half)
