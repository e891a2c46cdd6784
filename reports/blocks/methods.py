"""Methods: what the words mean, the numbers judged by, and what made this page."""

from __future__ import annotations

from markupsafe import Markup

from pipeline.tables import tables
from pipeline.thresholds import THRESHOLDS
from reports.block import Block, Model
from reports.blocks.finding import KIND_WORDS, threshold_table
from reports.markup import fill
from reports.table import Column, Table, table_html

DEFINITIONS = (
    ("Coverage", "The share of the time looked at in which every channel a figure needs holds a "
     "value at once. Under 90 % a figure says “only”; under half there is no figure."),
    ("Resolution (“to the nearest 10 s”)", "The slowest interval among the channels behind a "
     "figure. A run or rest shorter than two intervals cannot be counted reliably; counts are "
     "then “at least”."),
    ("Gap", "A stretch in which a channel has no reading that holds: not logged, rejected, or not "
     "trusted. Nothing is counted in it, and it is hatched, never drawn as off or as zero."),
    ("Run", "An output on without a gap; off for less than 15 s is a short break and is bridged. "
     "Runtime counts all runs, cycles only those with both ends seen."),
    ("Inferred", "No output said when heat, cooling or the blower ran; it was read off how supply "
     "air moves toward and away from return air when they start and stop, with the time constant, "
     "rise and split that this site shows. Its level alone is not used: with the fan off the probe "
     "shows the attic or the soak. The expected error was measured on simulated systems whose "
     "outputs were logged and hidden, with the numbers of pipeline/measures/inferred_numbers.py, "
     "which no site sets. An inferred run is the equipment’s, not what the panel asked for."),
    ("Start", "Off-to-on of the first source of heat or cooling; a stage change is not a start."),
    ("Short run, short rest", "A run with both ends seen, or a compressor rest, shorter than the "
     "length given beside it. Runs that a limit ended are counted with the limit."),
    ("Limit trip", "Supply air reaches the panel’s limit, all heat (cooling) outputs drop, and a "
     "zone goes on calling. The furnace’s own limit is another event."),
    ("Over target", "Seconds of readings above the static target as given; a stretch counts from "
     "60 s, once dampers have had time to move."),
    ("Second stage in order", "At its start enough zones call, and one of them has called for the "
     "delay as set or asks for second stage itself."),
    ("Shown, likely, possible", "How sure a finding is: seen directly in the log; the best of few "
     "explanations; one of several."),
    ("Act, plan, watch, note", "Go soon; put it on the next visit; keep an eye on it; good to "
     "know. “Clear” means not seen in these hours, and is not a safety check."),
)  # fmt: skip

NOT_LOOKED_AT = ("Recovery from setback: how long each zone takes.",)
"""Measures that no rule of this version judges; nothing on the page speaks for or against them."""

_HTML = """
<dl class="words">{% for word, means in definitions %}
<div><dt>{{ word }}</dt><dd>{{ means }}</dd></div>
{% endfor %}</dl>
<h3>What was not looked at in this version</h3>
<ul>{% for s in not_looked %}<li>{{ s }}</li>{% endfor %}</ul>
<h3>How each figure is counted</h3>
{{ measures }}
<h3>Numbers judged by</h3>
<p>The column “Kind” says: {% for means in kinds.values() %}
<b>{{ means }}</b>{{ '; ' if not loop.last else '. ' }}
{% endfor %}
{{ changed }}</p>
{{ table }}
<p class="source">Made by zonetrail {{ version }}, run {{ run }}. Inside, instants are UTC and
units °F and in. w.c.;
an inch of water is the conventional one, 249.08891 Pa (NIST SP 811, appendix B).
The interactive charts are drawn by plotly.js (MIT licence, its notice is kept in this file).</p>
"""

OF_A_FLEET = ("zonetrail fleet", "sites against their peers")
"""Numbers that apply to many sites stand on the fleet's page: none is in force on a site's own."""


def render(model: Model) -> Block:
    """Definitions, every judgement number in force with its source, and the run's identity."""
    values = model.result.thresholds
    changed = [n for n, t in THRESHOLDS.items() if n in values and values[n] != t.value]
    html = fill(
        _HTML,
        definitions=DEFINITIONS,
        kinds=KIND_WORDS,
        not_looked=NOT_LOOKED_AT,
        measures=_measures(),
        changed=Markup("The site file changes {} of them.").format(len(changed))
        if changed
        else "The site file changes none of them.",
        table=threshold_table(
            model,
            tuple(n for n, t in THRESHOLDS.items() if t.applies_when not in OF_A_FLEET),
            "Every judgement number, as in force here",
        ),
        version=model.result.tool_version,
        run=model.result.run_id,
    )
    return Block("methods", "Methods, numbers and sources", html, nav="Methods")


def _measures() -> Markup:
    """What the measures say of themselves: counted how, from what, how fine."""
    rows = [
        (
            table.name.split(".")[1].replace("_", " "),
            m.definition,
            ", ".join(m.needs),
            m.resolution + (f"; at {m.interval_max_s:g} s or faster" if m.interval_max_s else ""),
            m.source,
        )
        for table in tables().values()
        if (m := table.measure) is not None
    ]
    head = ("Measure", "What is counted", "From", "How fine", "Source")
    columns = tuple(Column(h, "wide") for h in head)
    return table_html(Table("Every measure", columns, tuple(rows), folded=True, is_whole=True))
