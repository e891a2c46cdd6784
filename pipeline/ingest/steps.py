"""Steps between instants."""

from __future__ import annotations

import numpy as np

from pipeline.ingest.written_times import Ints


def middle_step(steps: Ints) -> float:
    """The median of some steps; 0 for none.

    Most steps of a log are alike, which is the slow case of numpy's own median.
    """
    n = len(steps)
    if n == 0:
        return 0.0
    likely = steps[n // 2]
    below, up_to = int((steps < likely).sum()), int((steps <= likely).sum())
    if below <= (n - 1) // 2 and up_to > n // 2:
        return float(likely)
    return float(np.median(steps))
