"""Bent inputs all the way: load, stages, findings, page and review.json, many sites at a time.

python -m tests.hardening.fuzz_review --inputs 2000   (make fuzz-review)

Half of them are bent from the corpus, half from an hour of the sample site, which every stage has
something to do with. Inputs that load refuses are not counted: its messages are fuzz.py's matter.
"""

from __future__ import annotations

import argparse
import collections
import json
import resource
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache
from pathlib import Path

from pipeline.errors import UserError
from pipeline.ingest.load import LoadReport, load_site
from pipeline.review import _result, measure_sites
from pipeline.review_json import review_text
from pipeline.site import Site
from pipeline.site_reader import read_site
from pipeline.store import attach_sites, connect_working
from reports.site import render_site
from tests.hardening.mutants import Bent, as_it_is, bent
from tests.hardening.small_site import MORNING, small_site

BATCH = 25
# What one input may take beyond what a sound one does.
MAX_CPU_S = 30
MAX_PAGE_BYTES = 20_000_000
_KINDS = ("readings", "readings", "stamps", "stamps", "rows", "columns", "texts", "bytes")


@dataclass(frozen=True)
class Loaded:
    """A bent input whose load went through."""

    number: int
    case: Bent
    site: Site
    report: LoadReport


@cache
def _hour() -> Bent:
    with tempfile.TemporaryDirectory() as folder:
        hours = (MORNING[0], MORNING[0] + timedelta(hours=1))
        return as_it_is(small_site(Path(folder), hours))


def bent_for_review(seed: int, number: int) -> Bent:
    """The bent input of that number."""
    kind = (*_KINDS, "site values", "site keys")[number // 2 % 10]
    return bent(seed, number, kind, _hour() if number % 2 else None)


def loaded(seed: int, numbers: Iterator[int], folder: Path, n: int) -> list[Loaded]:
    """The next inputs that load goes through, each with an id of its own."""
    found: list[Loaded] = []
    while len(found) < n:
        number = next(numbers)
        case = bent_for_review(seed, number)
        place = folder / str(number)
        case.write(place)
        try:
            report = load_site(place)
        except UserError:
            continue
        site = replace(read_site(place), id=f"bent-{number}")
        if report.total("n_loaded") > 1:  # a single reading is no log, and refused as none
            found.append(Loaded(number, case, site, report))
    return found


def violations(batch: list[Loaded]) -> dict[int, str]:
    """By number, what went wrong on the way from the stores to the pages."""
    bad: dict[int, str] = {}
    con = connect_working()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            attach_sites(con, {one.site.id: one.site.store_path for one in batch})
            measure_sites(con, [one.site for one in batch])
            for one in batch:
                try:
                    bad |= {one.number: problem} if (problem := _page_problem(con, one)) else {}
                except Exception:
                    bad[one.number] = traceback.format_exc(limit=-6)
    except Exception as error:
        if len(batch) == 1 and isinstance(error, UserError):
            return {}
        if len(batch) == 1:
            return {batch[0].number: traceback.format_exc(limit=-6)}
        half = len(batch) // 2
        return violations(batch[:half]) | violations(batch[half:])
    finally:
        con.close()
    return bad


def _page_problem(con: object, one: Loaded) -> str:
    began = time.process_time()
    result = _result(
        con, one.site, one.report, units="us", redact=False, ask=None, on_stage=lambda s, t: None
    )  # type: ignore[arg-type]
    page = render_site(result)
    document = json.loads(review_text(result), parse_constant=lambda c: 1 / 0)
    took_s = time.process_time() - began
    if took_s > MAX_CPU_S:
        return f"{took_s:.0f} s for one page"
    if not page.rstrip().endswith("</html>") or len(page) > MAX_PAGE_BYTES:
        return f"a page of {len(page):,} letters that ends in {page[-20:]!r}"
    rows = document["rows"]
    if rows["read"] != rows["loaded"] + rows["rejected"] + rows["repeated"]:
        return f"rows do not add up: {rows}"
    return ""


def main() -> int:
    """Review many bent inputs and say, by kind, what became of them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=2_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int)
    given = parser.parse_args()
    first = given.first if given.only is None else given.only
    numbers = iter(range(first, 1 << 60))
    counts: collections.Counter[str] = collections.Counter()
    bad: dict[int, str] = {}
    n_done, n = 0, 1 if given.only is not None else given.inputs
    while n_done < n:
        with tempfile.TemporaryDirectory(prefix="zonetrail-fuzz-", dir=_room()) as folder:
            batch = loaded(given.seed, numbers, Path(folder), min(BATCH, n - n_done))
            found = violations(batch)
        n_done += len(batch)
        counts.update(one.case.kind for one in batch)
        for one in (b for b in batch if b.number in found):
            text = found[one.number]
            print(f"--- {one.number}: {one.case.kind} of {one.case.name}\n{text}", flush=True)
        bad |= found
    used = resource.getrusage(resource.RUSAGE_SELF)
    for kind, count in counts.items():
        print(f"{kind:14}{count:8,}")
    print(
        f"{n_done:,} reviewed (inputs up to {next(numbers) - 1}), {len(bad)} violations; "
        f"{used.ru_utime + used.ru_stime:.0f} s of processor, {used.ru_maxrss / 1024:.0f} MB"
    )
    return int(bool(bad))


def _room() -> str | None:
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


if __name__ == "__main__":
    sys.exit(main())
