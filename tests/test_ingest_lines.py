"""Lines of a file by their number: each is the one that splitting the whole text gives."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.ingest.encoding import Text, decode

N = 12_000


@pytest.fixture(scope="module")
def text() -> Text:
    rng = np.random.default_rng(3)
    lines = ["x" * int(n) + f"°{k}" for k, n in enumerate(rng.integers(0, 40, N))]
    return decode("\n".join(lines).encode(), "made up")


@pytest.fixture(scope="module")
def split(text: Text) -> list[str]:
    return text.content.decode().split("\n")


@pytest.mark.parametrize(
    "numbers",
    [
        [1],
        [N],
        [1, 2, 3, 3, 4],
        [1, 600, 601, 5_000, 5_001, N],
        [N, 1, 7_000, 6_999, 2],
        list(range(1, N + 1, 7)),
    ],
    ids=["first", "last", "one after another", "far apart", "backwards", "every seventh"],
)
def test_lines_are_those_of_the_text(text: Text, split: list[str], numbers: list[int]) -> None:
    assert len(text.content) > 3 << 16  # several blocks
    assert text.lines(numbers) == [split[n - 1] for n in numbers]
    assert text.line(numbers[-1]) == split[numbers[-1] - 1]
