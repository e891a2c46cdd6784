"""Loads, reviews and fleets killed at random moments; what they leave, and what the next run makes.

python -m tests.hardening.kill --times 300   (make kill)

Half of the runs are ended after a random time, half just before a random step: a statement of the
database, a file renamed, written or taken away. Then nothing half written may be found under its
own name, and the same command again must give what it gives undisturbed: the store in a canonical
dump, the pages byte by byte.
"""

from __future__ import annotations

import argparse
import collections
import json
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from tests.fleet_sites import write_day, write_site
from tests.hardening import forked
from tests.hardening.small_site import MORNING, small_site

DAY = "2026-02-01"


@dataclass(frozen=True)
class Scene:
    """A command and how its folder stands before it.

    before : the folder as it stands; after : as an undisturbed run leaves it
    n_steps, took_s : of the undisturbed run
    """

    name: str
    arguments: list[str]
    before: Path
    after: dict[str, bytes]
    n_steps: int
    took_s: float


def scene(name: str, verb: str, folder: Path, work: Path, more: tuple[str, ...] = ()) -> Scene:
    """The scene of a verb on a folder as it stands."""
    site = work / "undisturbed" / folder.name
    shutil.copytree(folder, site)
    count = work / "count"
    began = time.perf_counter()
    code = forked.run([verb, site, "--quiet", *more], work / "said", forked.counting_steps(count))
    took_s = time.perf_counter() - began
    assert code == 0, (work / "said").read_text(encoding="utf-8")
    after = made(site, work, [verb, str(site), "--quiet", *more])
    shutil.rmtree(work / "undisturbed")
    return Scene(name, [verb, *more], folder, after, int(count.read_text()), took_s)


def made(folder: Path, work: Path, command: list[str] | None = None) -> dict[str, bytes]:
    """What there is of a folder: its stores in canonical dumps, its pages.

    command : run before, where its pages say what the run had to do
    """
    found: dict[str, bytes] = {}
    if command is not None and command[0] == "fleet":
        assert forked.run(command, work / "said") == 0
    for store in sorted(folder.rglob("site.duckdb")):
        dump = work / "dump"
        shutil.rmtree(dump, ignore_errors=True)
        code = forked.run(
            ["export", store.parent, "--to", dump, "--canonical", "--quiet"], work / "said"
        )
        assert code == 0, (work / "said").read_text(encoding="utf-8")
        name = store.parent.relative_to(folder).as_posix()
        found |= {f"{name}/{p.name}": p.read_bytes() for p in sorted(dump.iterdir())}
    for page in sorted(p for p in folder.rglob("report/**/*") if p.is_file()):
        if not page.name.startswith("."):
            found[page.relative_to(folder).as_posix()] = page.read_bytes()
    return found


def half_written(folder: Path) -> list[str]:
    """Files under their own names that are not whole."""
    bad = []
    for page in folder.rglob("report/**/*"):
        if not page.is_file() or page.name.startswith("."):
            continue
        text = page.read_text(encoding="utf-8")
        if page.suffix == ".html" and not text.rstrip().endswith("</html>"):
            bad.append(page.name)
        if page.suffix == ".json":
            try:
                json.loads(text)
            except ValueError:
                bad.append(page.name)
    return bad


def killed_once(one: Scene, rng: random.Random, work: Path) -> tuple[bool, str]:
    """Whether a run was ended before its end, and what was wrong then or after the next, if any."""
    folder = work / "killed" / one.before.name
    shutil.copytree(one.before, folder)
    verb, *more = one.arguments
    command = [verb, str(folder), "--quiet", *more]
    try:
        if rng.random() < 0.5:
            step = forked.ended_before_step(rng.randrange(one.n_steps))
            was_killed = forked.run(command, work / "said", step) < 0
        else:
            child = forked.start(command, work / "said")
            was_killed = child.ended_within(rng.uniform(0.02, 0.7) * one.took_s) is None
        if bad := half_written(folder):
            return was_killed, f"half written: {bad}"
        code = forked.run(command, work / "said")
        if code != 0:
            said = (work / "said").read_text(encoding="utf-8")
            return was_killed, f"the run after it ended with {code}: {said}"
        now = made(folder, work, command)
        differ = sorted(k for k in one.after.keys() | now.keys() if one.after.get(k) != now.get(k))
        return was_killed, f"not as undisturbed: {differ}" if differ else ""
    finally:
        shutil.rmtree(work / "killed", ignore_errors=True)


# --- the folders -------------------------------------------------------------------------------


def first_load(work: Path) -> Scene:
    """Four loggers and no store yet."""
    plain = small_site(work / "plain", (MORNING[0], MORNING[0] + timedelta(hours=1)))
    return scene("first load", "load", plain, work)


def day_added(work: Path) -> Scene:
    """A store of two days, and a day more."""
    return scene("a day added", "load", _two_days(work / "days", work), work)


def read_otherwise(work: Path) -> Scene:
    """A site file that says another unit than the store was read by."""
    site = _two_days(work / "other", work)
    text = (site / "site.toml").read_text(encoding="utf-8")
    (site / "site.toml").write_text(text.replace("degF", "degC", 1), encoding="utf-8")
    return scene("read otherwise", "load", site, work)


def file_gone(work: Path) -> Scene:
    """An export that has vanished since it was loaded."""
    site = _two_days(work / "gone", work)
    (site / "exports" / "day00.csv").unlink()
    return scene("a file gone", "load", site, work)


def first_review(work: Path) -> Scene:
    """A review of a site that nothing was made of yet."""
    plain = small_site(work / "review", (MORNING[0], MORNING[0] + timedelta(hours=1)))
    return scene("first review", "review", plain, work)


def review_again(work: Path) -> Scene:
    """A review of a site that was reviewed, under another name now."""
    site = small_site(work / "again", (MORNING[0], MORNING[0] + timedelta(hours=1)))
    assert forked.run(["review", site, "--quiet"], work / "said") == 0
    text = (site / "site.toml").read_text(encoding="utf-8")
    (site / "site.toml").write_text(text.replace("14 Larch Lane", "15 Larch Lane"), "utf-8")
    return scene("review again", "review", site, work)


def fleet(work: Path) -> Scene:
    """A fleet of two sites of two days, one of them with a day added."""
    folder = work / "fleet" / "fleet"
    for name in ("a", "b"):
        write_site(folder / name, name, range(2), every_min=5)
    more = ("--on", DAY, "--jobs", "1")
    assert forked.run(["fleet", folder, "--quiet", *more], work / "said") == 0
    write_day(folder / "b", 2, every_min=5)
    return scene("fleet", "fleet", folder, work, more)


def _two_days(place: Path, work: Path) -> Path:
    site = place / "two"
    write_site(site, "two", range(2), every_min=5)
    _loaded(site, work)
    write_day(site, 2, every_min=5)
    return site


def _loaded(folder: Path, work: Path) -> None:
    code = forked.run(["load", folder, "--quiet"], work / "said")
    assert code == 0, (work / "said").read_text(encoding="utf-8")


SCENES: dict[str, tuple[tuple[Callable[[Path], Scene], ...], float]] = {
    "load": ((first_load, day_added, read_otherwise, file_gone), 0.7),
    "review": ((first_review, review_again), 0.2),
    "fleet": ((fleet,), 0.1),
    "short": ((day_added,), 0),
}


def main() -> int:
    """Kill many runs and say, by scene, what became of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--verb", choices=list(SCENES))
    given = parser.parse_args()
    forked.load_libraries(only_load=given.verb == "short")
    rng = random.Random(given.seed)
    counts: collections.Counter[tuple[str, str]] = collections.Counter()
    for verb in [given.verb] if given.verb else list(SCENES):
        makers, share = SCENES[verb]
        with tempfile.TemporaryDirectory(prefix="zonetrail-kill-") as folder:
            work = Path(folder)
            scenes = [make(work) for make in makers] if given.verb or share else []
            left = given.times if given.verb else round(given.times * share)
            while left:
                one = rng.choice(scenes)
                was_killed, problem = killed_once(one, rng, work)
                if problem:
                    print(f"--- {one.name}: {problem}", flush=True)
                    counts[one.name, "violation"] += 1
                elif was_killed:
                    counts[one.name, "equal"] += 1
                else:
                    counts[one.name, "ended before"] += 1
                    continue  # not killed, so not counted
                left -= 1
    for (name, result), count in sorted(counts.items()):
        print(f"{name:16}{result:14}{count:6,}")
    return int(any(result == "violation" for _, result in counts))


if __name__ == "__main__":
    sys.exit(main())
