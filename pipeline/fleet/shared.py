"""What many sites have in common that carry the same finding: a setting, an installer, a year.

Whoever set up thirty panels set them up alike. A finding is laid beside everything its sites share,
and what would come about by chance is left out: Fisher's exact test, one-sided; of all pairs tried
those are named of which no more than a given share is chance (Benjamini and Hochberg 1995).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline import words
from pipeline.fleet_result import Shared

YEAR = re.compile(r"\b(19|20)\d\d\b")


@dataclass(frozen=True)
class Shares:
    """What one site may share with others.

    traits : (what, name, value as text): 'setting', 'installer' or 'installed'
    found : findings that are there; could : findings that could have been seen, those included
    """

    site_id: str
    traits: tuple[tuple[str, str, str], ...]
    found: frozenset[str]
    could: frozenset[str]


def shared(
    sites: Sequence[Shares], titles: Mapping[str, str], numbers: Mapping[str, float]
) -> tuple[Shared, ...]:
    """Traits behind findings, the least likely to be chance first.

    titles : of findings, by code
    """
    least = numbers["fleet_shared_min_sites"]
    traits = sorted({t for s in sites for t in s.traits})
    codes = sorted({c for s in sites for c in s.found})
    made: list[tuple[float, Shared]] = []
    for code in codes:
        could = [s for s in sites if code in s.could]
        for trait in traits:
            having = [s for s in could if trait in s.traits]
            others = [s for s in could if trait not in s.traits and _says(s, trait)]
            n_found = sum(code in s.found for s in having)
            if not others or n_found < least:
                continue
            n_other = sum(code in s.found for s in others)
            chance = exact_chance(n_found, len(having), n_other, len(others))
            ids = tuple(s.site_id for s in having if code in s.found)
            counts = (len(having), n_found, len(others), n_other)
            made.append((chance, _said(trait, code, titles[code], counts, ids)))
    made.sort(key=lambda pair: (pair[0], pair[1].sentence))
    named = [
        n
        for n, (chance, _) in enumerate(made, start=1)
        if chance <= numbers["fleet_shared_chance"] * n / len(made)
    ]
    return tuple(s for _, s in made[: max(named, default=0)])


def exact_chance(n_found: int, n_with: int, n_other_found: int, n_other: int) -> float:
    """Chance of n_found or more of n_with, were the finding spread over all alike (Fisher)."""
    total, found = n_with + n_other, n_found + n_other_found
    ways = math.comb(total, found)
    return (
        sum(
            math.comb(n_with, k) * math.comb(n_other, found - k)
            for k in range(n_found, min(n_with, found) + 1)
        )
        / ways
    )


def year_of(installed: str | None) -> str:
    """The year in what the site file says of the installation; '' if it names none."""
    found = YEAR.search(installed or "")
    return found.group() if found else ""


def _says(site: Shares, trait: tuple[str, str, str]) -> bool:
    """Whether the site says anything of this kind: one that does not is no comparison."""
    return any(t[:2] == trait[:2] for t in site.traits)


def _said(
    trait: tuple[str, str, str],
    code: str,
    title: str,
    counts: tuple[int, int, int, int],
    site_ids: tuple[str, ...],
) -> Shared:
    what, name, value = trait
    n_with, n_found, n_other, n_other_found = counts
    who = {
        "setting": f"with {name} = {value}",
        "installer": f"installed by {value}",
        "installed": f"installed in {value}",
    }[what]
    sentence = (
        f"{title}: {words.of_all(n_found, n_with, 'site')} {who}, "
        f"{words.of_all(n_other_found, n_other, 'other site')}"
    )
    return Shared(
        what=what,
        name=name,
        value=value,
        code=code,
        n_with=n_with,
        n_found=n_found,
        n_other=n_other,
        n_other_found=n_other_found,
        site_ids=site_ids,
        sentence=words.sentence(sentence),
    )
