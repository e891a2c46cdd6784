"""The fleet on a Dask cluster: a scheduler and two workers, each a process, one of them killed.

The cluster is real; the sites are tiny. Left out where Dask is not installed.
"""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.errors import InputError
from pipeline.fleet import run as fleet_run
from pipeline.fleet.run import open_fleet
from pipeline.fleet.whole import run_fleet
from pipeline.fleet.workers import crew
from pipeline.tables import fleet_tables
from tests.fleet_sites import write_site

pytest.importorskip("distributed")
pytestmark = pytest.mark.filterwarnings("default")  # of the cluster's own libraries

RUN_DAY = dt.date(2026, 2, 20)  # long after the logs: one week of each site is judged
COLD = range(1, 3)
STARTS_WITHIN_S = 60


class Started:
    """A scheduler and its workers as processes; `address` of the scheduler."""

    def __init__(self, folder: Path) -> None:
        self._told = folder / "scheduler.json"
        self._folder = folder
        self._processes: list[subprocess.Popen[bytes]] = []
        self._start("dask_scheduler", "--port", "0", "--host", "127.0.0.1")
        until = time.monotonic() + STARTS_WITHIN_S
        while not self._told.exists() or not self._told.read_text(encoding="utf-8").strip():
            assert time.monotonic() < until, "the scheduler did not start"
            time.sleep(0.1)
        self.address: str = json.loads(self._told.read_text(encoding="utf-8"))["address"]

    def worker(self) -> subprocess.Popen[bytes]:
        """One more worker of one thread."""
        told = ("--nthreads", "1", "--no-nanny", "--local-directory", str(self._folder))
        return self._start("dask_worker", *told)

    def _start(self, what: str, *told: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.{what}", "--no-dashboard"]
        command += ["--scheduler-file", str(self._told), *told]
        with (self._folder / f"{len(self._processes)}.log").open("wb") as log:
            made = subprocess.Popen(command, stdout=log, stderr=log)
        self._processes.append(made)
        return made

    def stop(self) -> None:
        """End what was started here."""
        for process in reversed(self._processes):
            process.kill()
            process.wait()


@pytest.fixture
def started(tmp_path: Path) -> Iterator[Started]:
    cluster = Started(tmp_path)
    yield cluster
    cluster.stop()


def write_fleet(folder: Path) -> Path:
    for name in ("ash", "elm", "fir", "oak"):
        write_site(folder / name, name, range(3), cold=COLD if name == "elm" else range(0))
    return folder


def dump(folder: Path) -> dict[str, pd.DataFrame]:
    with open_fleet(folder) as store:
        return {t.split(".")[1]: store.frame(t.split(".")[1]) for t in fleet_tables()}


def test_every_piece_of_work_is_done_though_a_worker_is_killed(
    started: Started, tmp_path: Path
) -> None:
    doomed, other = started.worker(), started.worker()
    lengths_s = [0.2 + n / 1000 for n in range(12)]
    with crew(tmp_path, 1, started.address) as each_of:
        done = []
        for item, result in each_of(time.sleep, lengths_s, lost=_given_up):
            assert result is None
            done.append(item)
            doomed.kill()
        assert sorted(done) == lengths_s
        assert doomed.wait() != 0 and other.poll() is None
        # work that fails by an error of its own fails here, and the cluster stays
        with pytest.raises(ZeroDivisionError):
            list(each_of((1.0).__truediv__, [1.0, 0.0], lost=_given_up))
        assert list(each_of(abs, [-3], lost=_given_up)) == [(-3, 3)]
    # what a worker cannot do is said before anything is begun
    with pytest.raises(InputError, match="cannot do this work") as refused:
        with crew(tmp_path / "nowhere", 1, started.address):
            pass
    assert "sees no folder" in str(refused.value)


def _given_up(item: Any) -> Any:
    raise AssertionError(f"{item} was given up")


@pytest.mark.slow
def test_a_worker_killed_in_the_middle_changes_nothing_of_a_fleet(
    started: Started, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # a batch for every site, so that there is a middle
    monkeypatch.setattr(fleet_run, "BATCH_UNITS", 1)
    doomed, other = started.worker(), started.worker()
    far = write_fleet(tmp_path / "far")

    def tell(text: str) -> None:
        if text.startswith("judging") and "left" in text and doomed.poll() is None:
            doomed.kill()  # one site is judged, three are not

    run_fleet(far, run_day=RUN_DAY, scheduler=started.address, tell=tell)
    assert doomed.wait() != 0 and other.poll() is None
    near = write_fleet(tmp_path / "near")
    run_fleet(near, run_day=RUN_DAY)
    one, two = dump(far), dump(near)
    for name in one:
        pd.testing.assert_frame_equal(one[name], two[name], rtol=1e-6, obj=name)
    assert set(one["site"]["site_id"]) == {"ash", "elm", "fir", "oak"}
    assert one["site"]["broken"].isna().all()
    assert "no-heat" in set(one["finding"]["code"]) and not one["day"].empty


def test_nobody_answers(tmp_path: Path) -> None:
    from pipeline.fleet import cluster

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cluster, "ANSWERS_WITHIN_S", 1)
        with (
            pytest.raises(InputError, match="no Dask cluster") as refused,
            crew(tmp_path, 1, "tcp://127.0.0.1:9"),
        ):
            pass
    assert "127.0.0.1:9" in str(refused.value) and "dask worker" in str(refused.value)


def test_jobs_and_scheduler_do_not_go_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from pipeline.cli import zonetrail
    from pipeline.guard import run_command

    told = ["fleet", str(tmp_path), "--jobs", "2", "--scheduler", "tcp://127.0.0.1:9"]
    assert run_command(zonetrail, told) == 2
    assert "one of them" in capsys.readouterr().err
