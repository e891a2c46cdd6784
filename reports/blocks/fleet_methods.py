"""What the words of the fleet page mean, and the numbers it was made with."""

from __future__ import annotations

from markupsafe import Markup

from pipeline.thresholds import THRESHOLDS
from reports.block import Block
from reports.blocks.finding import KIND_WORDS
from reports.fleet_model import FleetModel
from reports.markup import fill
from reports.table import Column, Table, table_html

DEFINITIONS = (
    ("First of all", "Something that can hurt people or the equipment, or a house without heat or "
     "cooling. Never ranked against comfort or wear."),
    ("Harm ahead", "Points for each finding that is there: the share of days with it, of the days "
     "on which it could have been seen, times its weight, times the days of the coming month in "
     "which its weather is to be expected. Findings that bring one another about count once. "
     "Points compare sites of this list; they are not money."),
    ("What chance leaves open", "Where the harm lies in nine cases of ten, from so few or so many "
     "days. A site with few days leans on what the whole fleet shows, so one bad day leads "
     "nowhere."),
    ("Place with “=”", "Chance alone decides the order among sites with this place."),
    ("New, came back, gone", "New: first seen since the date above. Came back: it was gone, or a "
     "visit was to mend it, and it is found again. Gone: the last week that could have shown it "
     "did not. What could not be looked at changes nothing."),
    ("Not cleared", "Nothing was found, but the loggers stopped, covered too little, or the risky "
     "state (one zone in second stage, enough heat or cooling) has not been seen yet."),
    ("Takes", "By the findings’ own checks: a phone call, a truck, two people at once, or licensed "
     "work on gas or refrigerant. The most that any of the site’s findings takes."),
    ("Unusual day", "A day whose figures this weather does not explain, against the site’s own "
     "past. Unusual is not faulty: guests, a wood stove or open windows do it too."),
    ("Sites like it", "The same kind of equipment, stages, zones and climate. With too few of them "
     "nothing is compared."),
)  # fmt: skip

_HTML = """
<dl class="words">{% for word, means in definitions %}
<div><dt>{{ word }}</dt><dd>{{ means }}</dd></div>
{% endfor %}</dl>
{{ table }}
<p class="source">{{ n_units }} weeks of sites stand behind this page: {{ n_made }} judged in this
run, {{ n_reused }} taken as they were.</p>
"""


def render(model: FleetModel) -> Block:
    """Definitions, every judgement number behind ranking and flags, what the run did."""
    run = model.result.run
    return Block(
        "methods",
        "Methods and numbers",
        fill(
            _HTML,
            definitions=DEFINITIONS,
            table=_numbers(model),
            n_units=f"{run.n_units:,}",
            n_made=f"{run.n_made:,}",
            n_reused=f"{run.n_reused:,}",
        ),
        nav="Methods",
    )


def _numbers(model: FleetModel) -> Markup:
    rows = []
    for name, value in model.result.run.numbers:
        known = THRESHOLDS.get(name)
        if known is None:
            rows.append((f"{value:g}", name.replace("_", " "), "", ""))
            continue
        rows.append(
            (
                f"{value:g} {known.unit}",
                known.means,
                KIND_WORDS.get(known.kind, known.kind),
                "" if known.source == "common practice, no source" else known.source,
            )
        )
    if not rows:
        return Markup()
    head = (("Number", "number"), ("Meaning", "wide"), ("Kind", "wide"), ("Why this", "wide"))
    return table_html(
        Table("Every number behind this list", tuple(Column(*h) for h in head), tuple(rows),
              folded=True, is_whole=True)
    )  # fmt: skip
