"""What befalls a load or a review: killed, disk full, no right to write, files that come and go.

The long forms are `make kill` and `make at-once`.
"""

from __future__ import annotations

import ctypes
import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from pipeline.cli.review import made_folder, write_whole
from pipeline.errors import InputError, StoreError, UserError
from pipeline.ingest import load, site_store
from pipeline.ingest.load import load_site
from pipeline.store import open_store, store_columns
from tests.fleet_sites import write_day, write_site

ROOT = Path(__file__).parents[2]
NOBODY = 65_534


def dump(site: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every table of a site's store, sorted."""
    with open_store(site / "site.duckdb") as store:
        found = {
            name: store.execute(f"select * from {name} order by all").fetchall()
            for name in store_columns()
        }
        found["meta"] = store.execute("select * from meta order by all").fetchall()
        query = "select sha256, path, bytes from original order by all"
        return found | {"original": store.execute(query).fetchall()}


def leftovers(site: Path) -> list[str]:
    return sorted(p.name for p in site.iterdir() if p.name not in ("site.toml", "exports"))


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A site of one day that is loaded, with one more day that is not."""
    folder = tmp_path / "site"
    write_site(folder, "site", range(1), every_min=10)
    load_site(folder)
    write_day(folder, 1, every_min=10)
    return folder


@pytest.fixture
def undisturbed(site: Path, tmp_path: Path) -> dict[str, list[tuple[object, ...]]]:
    """What the store holds of both days where nothing happens."""
    other = tmp_path / "undisturbed"
    shutil.copytree(site, other)
    load_site(other)
    return dump(other)


def test_killed_loads_leave_what_was_there_and_the_next_one_makes_the_same() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.hardening.kill", "--times", "2", "--verb", "short"],
        cwd=ROOT, capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"equal +2", done.stdout)


@pytest.mark.slow
@pytest.mark.parametrize("long", [["kill", "--times", "300"], ["at_once", "--pairs", "200"]])
def test_long_forms_of_killing_and_of_two_at_once(long: list[str]) -> None:
    command = [sys.executable, "-m", f"tests.hardening.{long[0]}", *long[1:]]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_store_that_another_load_adds_to_meanwhile_gets_no_row_twice(
    site: Path, undisturbed: dict, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_end = site_store.read_end

    def after_another_load(*given: object) -> object:
        monkeypatch.setattr(site_store, "read_end", read_end)
        end = read_end(*given)  # type: ignore[arg-type]
        subprocess.run(
            [sys.executable, "-m", "pipeline", "load", str(site), "--quiet"], check=True, cwd=ROOT
        )
        return end

    monkeypatch.setattr(site_store, "read_end", after_another_load)
    report = load_site(site)
    assert report.is_rebuilt and not report.is_added_to
    assert dump(site) == undisturbed


def test_an_export_deleted_between_the_listing_and_the_reading_is_named(
    site: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, list_exports = dump(site), load.list_exports
    gone = site / "exports" / "day01.csv"

    def then_gone(folder: Path) -> object:
        found = list_exports(folder)
        gone.unlink()
        return found

    monkeypatch.setattr(load, "list_exports", then_gone)
    with pytest.raises(InputError, match="cannot be read") as caught:
        load_site(site)
    assert caught.value.file == str(gone) and caught.value.found
    assert dump(site) == before
    monkeypatch.undo()
    load_site(site)
    assert dump(site) == before


def test_a_file_that_grows_while_it_is_loaded_is_whole_in_the_end(
    site: Path, undisturbed: dict, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Read as far as it had come, cut row and all; once it is whole, nothing of that is left."""
    path = site / "exports" / "day01.csv"
    whole = path.read_bytes()
    path.unlink()
    for end in (0, len(whole) // 3, len(whole) * 2 // 3 + 7, len(whole)):
        path.write_bytes(whole[:end])
        try:
            load_site(site)
        except UserError as error:
            assert end == 0 and error.file == str(path)
        # What a file held as it was read stays as a file that has vanished; who wants it gone
        # deletes the store, as load says.
    with open_store(site / "site.duckdb") as store:
        conflicts = store.execute("select count(*) from conflict").fetchone()
        readings = store.execute("select * from reading order by all").fetchall()
    assert conflicts == (0,)
    assert readings == undisturbed["reading"]


@contextmanager
def files_up_to(n_bytes: int) -> Iterator[None]:
    """No file can be written beyond this size: as a full disk, the write itself fails."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (n_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("n_bytes", [0, 4_096, 20_000, 300_000, 1_000_000])
def test_a_write_that_fails_leaves_the_old_store(
    n_bytes: int, site: Path, undisturbed: dict
) -> None:
    before = dump(site)
    with files_up_to(n_bytes), pytest.raises(StoreError) as caught:
        load_site(site)
    assert caught.value.what == "the store cannot be written"
    assert caught.value.file and caught.value.found and caught.value.expected
    assert dump(site) == before and leftovers(site) == ["site.duckdb"]
    load_site(site)
    assert dump(site) == undisturbed


def test_a_page_that_cannot_be_written_leaves_the_old_one(tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    write_whole(page, "old")
    with files_up_to(1_000), pytest.raises(InputError, match="cannot be written") as caught:
        write_whole(page, "new" * 1_000)
    assert caught.value.found and caught.value.file == str(page)
    assert page.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_what_killed_runs_have_left_among_the_pages_goes_after_an_hour(tmp_path: Path) -> None:
    folder = made_folder(tmp_path / "report")
    for name in (".report.html.77", ".report.html.78", ".notes", ".x.9"):
        (folder / name).write_text("", encoding="utf-8")
        os.utime(folder / name, (0, 0))
    os.utime(folder / ".report.html.78")
    made_folder(folder)
    assert sorted(p.name for p in folder.iterdir()) == [".notes", ".report.html.78", ".x.9"]


@contextmanager
def small_disk(n_bytes: int) -> Iterator[Path]:
    """A disk of this size of its own; skips where none can be mounted."""
    libc = ctypes.CDLL(None, use_errno=True)
    place = Path(tempfile.mkdtemp())
    options = f"size={n_bytes}".encode()
    if libc.mount(b"tmpfs", str(place).encode(), b"tmpfs", 0, options) != 0:
        place.rmdir()
        pytest.skip(f"no disk can be mounted here: {os.strerror(ctypes.get_errno())}")
    try:
        yield place
    finally:
        libc.umount2(str(place).encode(), 2)
        place.rmdir()


def test_a_full_disk_leaves_the_old_store(site: Path, undisturbed: dict) -> None:
    size = (site / "site.duckdb").stat().st_size
    with small_disk(2 * size) as disk:
        full = disk / "site"
        shutil.copytree(site, full)
        (disk / "filler").write_bytes(b"x" * (size - 200_000))
        with pytest.raises(StoreError, match=r"cannot be written[\s\S]*disk with room"):
            load_site(full)
        assert leftovers(full) == ["site.duckdb"]
        (disk / "filler").unlink()
        (site / "site.duckdb").replace(site / "kept.duckdb")
        shutil.copyfile(full / "site.duckdb", site / "site.duckdb")
    load_site(site)
    assert dump(site) == undisturbed


def test_a_folder_that_can_only_be_read_is_named_and_left_alone(site: Path) -> None:
    libc = ctypes.CDLL(None, use_errno=True)
    with small_disk(50_000_000) as disk:
        shutil.copytree(site, disk / "site")
        flags = 1 | 32  # read only, the same mount again
        assert libc.mount(b"tmpfs", str(disk).encode(), b"tmpfs", flags, b"") == 0
        with pytest.raises(StoreError, match="the store cannot be written") as caught:
            load_site(disk / "site")
        assert "Read-only" in str(caught.value.found)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can give up its rights")
def test_files_without_the_right_to_them_are_named() -> None:
    place = Path(tempfile.mkdtemp())
    try:
        site = place / "site"
        write_site(site, "site", range(1), every_min=10)
        load_site(site)  # what is read at the first use must not need the rights given up below
        for path in (place, site, site / "exports"):
            path.chmod(0o777)
        locked = site / "exports" / "locked.csv"
        locked.write_text("time,supply_temp\n", encoding="utf-8")
        locked.chmod(0)
        with _as_nobody(), pytest.raises(InputError, match="cannot be read") as caught:
            load_site(site)
        assert caught.value.file == str(locked) and caught.value.found == "Permission denied"
        locked.unlink()
        write_day(site, 1, every_min=10)
        site.chmod(0o755)
        with _as_nobody(), pytest.raises(StoreError, match="cannot be written") as denied:
            load_site(site)
        assert "Permission denied" in str(denied.value.found)
    finally:
        shutil.rmtree(place)


@contextmanager
def _as_nobody() -> Iterator[None]:
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)
