"""What a log's coarseness does to the measured blocks of review.json: "at least", or null and why.

One table says which block rests on which measure, and which of its figures become too small in a
log that is read too seldom.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pipeline.review_values import Block
from pipeline.sampling import AT_LEAST, NOT_GIVEN, Standing

CYCLES = ("starts", "starts_outside_visits", "short_runs", "short_runs_ended_by_limit",
          "short_rests", "fitted_nmax_per_h", "by_mode")  # fmt: skip
OVER_TARGET = ("above_target_s", "above_target_outside_visits_s", "above_more_s", "above_far_s",
               "area_inwc_min", "max_inwc", "excursions", "relief_actions")  # fmt: skip
RESTS_ON = (
    ("runtime.*", "measure.runtime", ("seconds", "starts", "open_runs")),
    ("stages.*", "measure.stage_time", ("first_s", "second_s", "aux_s")),
    ("cycles.*", "measure.cycle", CYCLES),
    ("static", "measure.static_total", OVER_TARGET),
    ("staging", "measure.stage_up", ("early", "too_few_zones", "stayed_in", "starts")),
    ("staging", "measure.stage_up_missing", ("never_came_on",)),
    ("balance", "measure.balance", ("compressor_below_low_s", "furnace_above_high_s")),
    ("zones.*", "measure.zone_call", ("calling_s", "calls")),
    ("zones.*", "measure.zone_comfort", ("not_keeping_up_s",)),
)
"""Block (`.*`: each in it), measure, and the figures that are at least, or null, with it."""
LISTS = frozenset({"by_mode"})
"""Figures that are empty rather than null: what was left out is said by the counts beside them."""


def held_to_sampling(blocks: Block, short: Mapping[str, Standing]) -> Block:
    """The measured blocks with `at_least`, and with nulls for what is not given.

    short : how each measure stands, by its table
    """
    made = dict(blocks)
    for path, measure, figures in RESTS_ON:
        stands = short.get(measure)
        name, _, each = path.partition(".")
        if not each:
            made[name] = _held(made[name], stands, figures)
        elif isinstance(made[name], list):
            made[name] = [_held(block, stands, figures) for block in made[name]]
        else:
            made[name] = {k: _held(block, stands, figures) for k, block in made[name].items()}
    return made


def sampling_block(short: Mapping[str, Standing]) -> list[Block]:
    """Every measure that counts from something logged, and how fine its log was, by name."""
    return [
        {
            "measure": s.measure.removeprefix("measure."),
            "result": s.result,
            "interval_s": s.interval_s,
            "enough_s": s.enough_s,
            "why": s.why or None,
        }
        for s in sorted(short.values(), key=lambda s: s.measure)
    ]


def _held(block: Block, short: Standing | None, figures: tuple[str, ...]) -> Block:
    was = block.get("at_least")
    own = tuple(_told(block, figures))
    if short is None or not own or short.result not in (AT_LEAST, NOT_GIVEN):
        return {**block, "at_least": bool(was)} if "at_least" not in block else block
    if short.result == AT_LEAST:
        return {**block, "at_least": True}
    lost: Block = {name: [] if name in LISTS else None for name in own}
    reasons = {name: short.why for name in own if name not in LISTS}
    why = {**block.get("not_measured", {}), **reasons}
    return {**block, **lost, "at_least": bool(was), "not_measured": why}


def _told(block: Block, figures: tuple[str, ...]) -> Iterator[str]:
    """The figures that have a value: what is null already has its own reason."""
    return (name for name in figures if block.get(name) is not None)
