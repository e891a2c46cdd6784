"""What the fleet page's script reads, and the controls it stands behind: search, sort, filters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pipeline.fleet_result import FleetSite
from reports.block import Block
from reports.fleet_model import KIND_SHORT, WAY_WORDS, FleetModel, lead_of
from reports.markup import clean, fill

MOST_OPTION = 60
_GROUPS = {
    "on top": "first of all",
    "ranked": "ranked",
    "not cleared": "not cleared",
    "nothing found": "nothing found",
    "broken": "could not be read",
}

_HTML = """
<form class="pick noprint" id="picking" hidden>
<h2 id="h-pick" class="quiet">Find sites</h2>
<label class="find">Search<input type="search" id="find" autocomplete="off"
 placeholder="street, site id, words"></label>
<label>Order<select id="sort">
<option value="rank">expected harm</option><option value="name">name</option>
<option value="visit">next visit</option><option value="way">what it takes</option>
<option value="region">region</option></select></label>
<span class="take"><button type="button" id="csv">Save list (CSV)</button>
<button type="button" id="copy">Copy list</button></span>
<details id="filters"><summary>Filter by {{ names }}</summary><div class="by">
{% for f in filters %}<label>{{ f.label }}<select data-by="{{ f.key }}">
<option value="">any</option>
{% for value, shown in f.options %}<option value="{{ value }}">{{ shown }}</option>{% endfor %}
</select></label>
{% endfor %}</div></details>
<p class="shown"><span id="shown" role="status"></span>
<button type="button" id="all" hidden>Show all sites</button></p>
</form>
"""


def render(model: FleetModel) -> Block:
    """The controls; hidden where no script runs, as every row can be read without them."""
    rows = record(model)
    filters = [
        {"key": key, "label": label, "options": options}
        for key, label in _FILTERS
        if len(options := _options(model, rows, key)) > (key != "code")
    ]
    names = ", ".join(str(f["label"]).lower() for f in filters)
    return Block("pick", "", fill(_HTML, filters=filters, names=names))


_FILTERS = (
    ("code", "Finding"),
    ("kind", "Equipment"),
    ("region", "Region"),
    ("agreement", "Agreement"),
    ("installer", "Installer"),
    ("way", "What it takes"),
    ("became", "Changed"),
    ("booked", "Next visit"),
)
_BECAME = ("new", "came back", "gone", "not seen lately")
_BOOKED = ("booked", "none booked")


def record(model: FleetModel) -> dict[str, object]:
    """Lists of words, and a row of places in them per site, in the record's order.

    A row: id, kind, region, agreement, installer, way, group (places in their lists), findings
    there, what became of findings, next visit ('' or its date), harm (expected, low, high), called
    first, parts.
    """
    sites = model.result.sites
    run_day = model.result.run.run_day
    lists: dict[str, list[str]] = {
        "kind": _distinct(s.kind for s in sites),
        "region": _distinct(s.region for s in sites),
        "agreement": _distinct(s.agreement for s in sites),
        "installer": _distinct(s.installer for s in sites),
        "way": [w for w in WAY_WORDS if any(s.way == w for s in sites)],
        "group": list(_GROUPS),
        "code": _distinct(f.title for s in sites for f in s.findings if f.status != "gone"),
        "became": list(_BECAME),
        "part": _distinct(p for s in sites for p in s.parts),
    }
    at = {key: {word: n for n, word in enumerate(words)} for key, words in lists.items()}
    rows = [_row(site, at, site.next_visit if site.next_visit and site.next_visit >= run_day
                 else None) for site in sites]  # fmt: skip
    shown = {key: [clean(word, MOST_OPTION) for word in words] for key, words in lists.items()}
    shown["kind"] = [KIND_SHORT.get(word, word) for word in shown["kind"]]
    shown["way"] = [WAY_WORDS[word] for word in lists["way"]]
    shown["group"] = list(_GROUPS.values())
    return {"lists": shown, "rows": rows, "day": f"{run_day:%Y-%m-%d}"}


def _row(site: FleetSite, at: dict[str, dict[str, int]], visit: object) -> list[object]:
    lead = lead_of(site)
    there = [f for f in site.findings if f.status != "gone"]
    titles = list(dict.fromkeys(f.title for f in there if f is not lead))
    if lead is not None:
        titles.insert(0, lead.title)
    points = site.harm.points if site.harm else None
    return [
        clean(site.site_id, MOST_OPTION),
        at["kind"][site.kind],
        at["region"][site.region],
        at["agreement"][site.agreement],
        at["installer"][site.installer],
        at["way"].get(site.way, -1),
        at["group"][site.group],
        [at["code"][t] for t in dict.fromkeys(titles)],
        sorted({at["became"][f.status] for f in site.findings if f.status in _BECAME}),
        str(visit) if visit else 0,
        [round(v, 1) if v < 9.95 else round(v) for v in (points.expected, points.low, points.high)]
        if points
        else 0,
        int(site.call_first),
        [at["part"][p] for p in site.parts],
    ]


_PLACE = {"kind": 1, "region": 2, "agreement": 3, "installer": 4, "way": 5, "code": 7, "became": 8}


def _options(model: FleetModel, rows: dict[str, object], key: str) -> list[tuple[str, str]]:
    """Values of a filter with how many sites have each; the commonest findings first."""
    table, lists = rows["rows"], rows["lists"]
    assert isinstance(table, list) and isinstance(lists, dict)
    if key == "booked":
        n = sum(bool(r[9]) for r in table)
        pairs = ((n, _BOOKED[0]), (len(table) - n, _BOOKED[1]))
        return [(str(k), f"{word} ({n:,})") for k, (n, word) in enumerate(pairs) if n]
    counts: Counter[int] = Counter()
    for row in table:
        value = row[_PLACE[key]]
        counts.update(value if isinstance(value, list) else [value])
    words: Sequence[str] = lists[key]
    keys = [k for k in range(len(words)) if counts[k]]
    if key == "code":
        keys.sort(key=lambda k: (-counts[k], words[k]))
    return [(str(k), f"{words[k] or 'not given'} ({counts[k]:,})") for k in keys]


def _distinct(values: object) -> list[str]:
    return sorted(set(values), key=lambda v: (v == "", v))  # type: ignore[call-overload]
