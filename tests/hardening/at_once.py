"""Two runs at once on one folder: both end well or with a clear message, and nothing is spoilt.

python -m tests.hardening.at_once --pairs 200   (make at-once)
"""

from __future__ import annotations

import argparse
import collections
import itertools
import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

from tests.fleet_sites import write_day, write_site
from tests.hardening import forked
from tests.hardening.kill import DAY, half_written, made

FLEET = ("fleet", "", "--on", DAY, "--jobs", "1")
COMMANDS = {
    "load": ("load", "a"),
    "review": ("review", "a"),
    "fleet": FLEET,
    "export": ("export", "a", "--to", "../exported", "--canonical"),
}
# How often each pair is drawn: loads are quick and touch the store alone.
PAIRS = {
    ("load", "load"): 8,
    ("load", "review"): 3,
    ("load", "export"): 2,
    ("review", "review"): 1,
    ("fleet", "review"): 1,
    ("fleet", "load"): 1,
    ("fleet", "fleet"): 1,
}
# A run that cannot go on beside another says so.
CLEAR = ("not open for writing elsewhere", "wait for the other run")


def prepared(work: Path) -> Path:
    """A fleet of two sites, run once, with a day more in each that nothing has read yet."""
    fleet = work / "fleet"
    for name in ("a", "b"):
        write_site(fleet / name, name, range(1), every_min=5)
    for command in (FLEET, ("review", "a")):
        assert forked.run(_on(fleet, command), work / "said") == 0, (work / "said").read_text()
    for name in ("a", "b"):
        write_day(fleet / name, 1, every_min=5)
    return fleet


def settled(fleet: Path, work: Path, names: set[str]) -> dict[str, bytes]:
    """What there is, of what these commands touch, once each has run by itself."""
    commands = sorted(names - {"export"})
    if "fleet" in names:  # once more, as a fleet's page says how many weeks a run judged
        commands.append("fleet")
    for name in commands:
        code = forked.run(_on(fleet, COMMANDS[name]), work / "said")
        assert code == 0, (work / "said").read_text(encoding="utf-8")
    if "fleet" in names:
        return {k: v for k, v in made(fleet, work).items() if not k.startswith("a/report/")}
    found = made(fleet / "a", work)
    return {f"a/{k.removeprefix('./')}": v for k, v in found.items()}


def pair_at_once(
    fleet: Path, after: dict[str, bytes], names: tuple[str, str], wait_s: float, work: Path
) -> str:
    """What went wrong as two commands ran at once, the second a moment later; empty: nothing."""
    shutil.rmtree(work / "now", ignore_errors=True)
    folder = work / "now" / "fleet"
    shutil.copytree(fleet, folder)
    running = []
    for k, name in enumerate(names):
        running.append(forked.start(_on(folder, COMMANDS[name], str(k)), work / f"said{k}"))
        time.sleep(wait_s if k == 0 else 0)
    codes = [child.wait() for child in running]
    for code, name, child in zip(codes, names, running, strict=True):
        said = child.said.read_text(encoding="utf-8")
        if code not in (0, 2) or (code == 2 and not any(c in said for c in CLEAR)):
            return f"{name} ended with {code}: {said}"
    if bad := half_written(folder):
        return f"half written: {bad}"
    now = settled(folder, work, set(names))
    wanted = {k: v for k, v in after.items() if k.startswith("a/") or "fleet" in names}
    if "review" not in names or "fleet" in names:
        wanted = {k: v for k, v in wanted.items() if not k.startswith("a/report/")}
        now = {k: v for k, v in now.items() if not k.startswith("a/report/")}
    differ = sorted(k for k in wanted.keys() | now.keys() if wanted.get(k) != now.get(k))
    return f"not as one after the other: {differ}" if differ else ""


def _on(fleet: Path, command: tuple[str, ...], number: str = "") -> list[str]:
    verb, site, *more = command
    more = [str(fleet.parent / f"exported{number}") if m == "../exported" else m for m in more]
    return [verb, str(fleet / site), "--quiet", *more]


def main() -> int:
    """Run many pairs and say, by pair, what became of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one pair, such as load,load")
    given = parser.parse_args()
    forked.load_libraries()
    rng = random.Random(given.seed)
    counts: collections.Counter[tuple[str, str]] = collections.Counter()
    with tempfile.TemporaryDirectory(prefix="zonetrail-at-once-") as place:
        work = Path(place)
        fleet = prepared(work)
        undisturbed = work / "undisturbed" / "fleet"
        shutil.copytree(fleet, undisturbed)
        after = settled(undisturbed, work, {"fleet"})
        after |= settled(undisturbed, work, {"review"})
        for _ in itertools.repeat(None, given.pairs):
            names = rng.choices(list(PAIRS), list(PAIRS.values()))[0]
            if given.only:
                first, second = given.only.split(",")
                names = (first, second)
            names = names if rng.random() < 0.5 else (names[1], names[0])
            problem = pair_at_once(fleet, after, names, rng.choice((0, 0.05, 0.3, 1)), work)
            counts[" with ".join(sorted(names)), "violation" if problem else "clean"] += 1
            if problem:
                print(f"--- {' with '.join(names)}: {problem}", flush=True)
    for (name, result), count in sorted(counts.items()):
        print(f"{name:20}{result:12}{count:6,}")
    return int(any(result == "violation" for _, result in counts))


if __name__ == "__main__":
    sys.exit(main())
