"""The fleet's benchmark makes its sites once: what a run before left is taken up again."""

from __future__ import annotations

from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent


def test_sites_that_are_there_are_not_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(HERE / "benchmarks"))
    import fleet_sites

    bases, pool = tmp_path / "bases", tmp_path / "pool"
    fleet_sites.write_fleet(tmp_path / "week-1", 1, 1, bases, pool)
    fleet_sites.base.cache_clear()  # as another process finds it
    again = fleet_sites.base(fleet_sites.names()[0], bases)
    assert {"panel", "rooms"} <= set(again.days)
    made = {path: path.stat().st_ino for path in pool.rglob("*.csv")}
    fleet_sites.write_fleet(tmp_path / "week-1", 1, 1, bases, pool)
    fleet_sites.write_fleet(tmp_path / "other", 1, 1, bases, pool)
    assert made and made == {path: path.stat().st_ino for path in pool.rglob("*.csv")}
    # the same bytes, not the same bytes once more
    linked = [path.stat().st_ino for path in (tmp_path / "other" / "s0000").rglob("*.csv")]
    assert sorted(linked) == sorted(made.values())
    assert not [path for path in tmp_path.rglob("tmp*") if path.is_dir()]
