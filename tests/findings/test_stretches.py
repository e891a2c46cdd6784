"""Stretches looked up by time say what trying every one of them says."""

import random

import pandas as pd

from pipeline.findings._stretches import Stretches


def test_lookup_is_as_trying_all():
    draw = random.Random(8)
    for n in (0, 1, 5, 60):
        spans = [(a, a + draw.randint(0, 40)) for a in (draw.randint(0, 300) for _ in range(n))]
        rows = pd.DataFrame(spans, columns=["start_ts", "end_ts"], dtype="int64")
        stretches = Stretches(rows)
        for _ in range(200):
            start = draw.randint(-20, 340)
            end = start + draw.randint(0, 30)
            tried = sorted((a, b) for a, b in spans if a < end and b > start)
            found = stretches.rows.iloc[stretches.touching(start, end)]
            assert sorted(found.itertuples(index=False, name=None)) == tried
            assert stretches.overlaps(start, end) is bool(tried)


def test_edges_belong_to_what_begins_in_them():
    one = Stretches(pd.DataFrame({"start_ts": [100], "end_ts": [200]}))
    # half-open: what ends as it begins, or begins as it ends, does not touch it
    assert [one.overlaps(*s) for s in ((50, 100), (50, 101), (199, 250), (200, 250))] == [
        False,
        True,
        True,
        False,
    ]
