"""The measured blocks of review.json: runtime, stages, runs, cycles, trips, static, staging, zones.

Each is made from the frames of one result and carries `coverage` and `resolution_s`. What this
version does not measure stands as null with its reason under `not_measured`: an empty list or a
zero would be a claim.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.channels import OUTPUT_ROLES
from pipeline.findings._context import with_condition
from pipeline.findings._site import flags, number, records
from pipeline.result import SiteResult
from pipeline.review_audits import balance, never_came_on, stage_starts
from pipeline.review_inferred import calls_by_damper, fan_block, second_stages
from pipeline.review_static import hunting_block, relief_block, zero_block
from pipeline.review_values import Block, iso, rounded
from pipeline.units import MICROSECONDS
from pipeline.words import zone_numbers

NO_COMFORT = "its temperature is not logged, or it never called"
HEAT_SOURCES = ("burner", "strip", "heat")
KIND_OF_CUT_OUT = {"burner": "high", "strip": "high", "compressor": "low"}


class Measured:
    """The measured blocks of one result; each public method makes one."""

    def __init__(self, result: SiteResult) -> None:
        self.result = result
        self.figures = {
            row.figure: (number(row.coverage), number(row.resolution_s))
            for row in self.rows("measure.coverage")
        }

    def frame(self, name: str) -> pd.DataFrame | None:
        """A table of the result; None if it has none of that name."""
        return self.result.frames.get(name)

    def rows(self, name: str) -> list[Any]:
        """The table's rows as records, nulls as None; empty where there is no such table."""
        table = self.frame(name)
        return [] if table is None else records(table)

    def quality(self, figure: str) -> Block:
        """Coverage and resolution of a figure; null where it was not measured."""
        coverage, resolution_s = self.figures.get(figure, (None, None))
        return {"coverage": rounded(coverage), "resolution_s": resolution_s}

    def blocks(self) -> Block:
        """All of them, by their keys in review.json."""
        return {
            "runtime": self.runtime(),
            "stages": self.stages(),
            "runs": self.runs(),
            "cycles": {
                "heat_output": self.cycles(HEAT_SOURCES, ("output_w1", "output_aux")),
                "compressor_output": self.cycles(("compressor",), ("output_y1",)),
            },
            "trips": self.trips(),
            "static": self.static(),
            "staging": self.staging(),
            "balance": self.balance(),
            "zones": self.zones(),
        }

    def runtime(self) -> Block:
        """Seconds and starts per output that was logged or run that was inferred, with visits."""
        return {
            r.output: {
                "seconds": number(r.on_s),
                "starts": int(r.n_start),
                "open_runs": int(r.n_open_run),
                # sampling bounds what was logged; what was inferred is off by its expected error
                "plus_minus_s": None if r.is_inferred else number(r.plus_minus_s),
                "coverage": rounded(number(r.coverage)),
                "resolution_s": number(r.resolution_s),
                **(_inferred_runtime(r) if r.is_inferred else {}),
            }
            for r in self.rows("measure.runtime")
        }

    def stages(self) -> Block:
        """The exclusive split of each mode by stage, and the same by source; visits included."""
        rows = self.rows("measure.stage_time")
        known = bool(self.figures.get("outputs", (0.0, None))[0])

        inferred = {
            mode: [r for r in rows if r.mode == mode and r.is_inferred]
            for mode in ("heating", "cooling")
        }

        def total(mode: str, stage: str) -> float | None:
            if not known or inferred[mode]:  # inferred time has no stages
                return None
            return float(sum(float(r.s) for r in rows if r.mode == mode and r.stage == stage))

        def block(mode: str, stages: tuple[str, ...]) -> Block:
            by_source = [
                {
                    "source": r.source,
                    "stage": r.stage,
                    "seconds": number(r.s),
                    # sampling bounds what was logged; an inferred figure is off by more
                    "plus_minus_s": None if r.is_inferred else number(r.plus_minus_s),
                }
                for r in sorted(rows, key=lambda r: (str(r.source), str(r.stage)))
                if r.mode == mode
            ]
            return {
                **{f"{stage}_s": total(mode, stage) for stage in stages},
                "by_source": by_source,
                **(
                    {
                        "inferred": True,
                        "any_s": float(sum(float(r.s) for r in inferred[mode])),
                        "second_inferred": second_stages(self.rows, mode),
                    }
                    if inferred[mode]
                    else {}
                ),
                **self.quality("outputs"),
            }

        return {
            "heating": block("heating", ("first", "second", "aux")),
            "cooling": block("cooling", ("first", "second")),
        }

    def runs(self) -> list[Block]:
        """Every run of every output, by output and time; inferred with the expected error."""
        order = {role: n for n, role in enumerate(OUTPUT_ROLES)}
        rows = sorted(
            self.rows("interval.output_run"),
            key=lambda r: (order.get(r.output, len(order)), int(r.start_ts)),
        )
        quality = {r.output: self.quality(r.output) for r in rows}
        error = {r.output: number(r.runtime_error_frac) for r in self.rows("measure.runtime")}
        return [
            {
                "output": r.output,
                "start": iso(r.start_ts),
                "end": iso(r.end_ts),
                "closed": bool(r.is_closed),
                **(
                    {"inferred": True, "expected_error_frac": error.get(r.output)}
                    if r.is_inferred
                    else {}
                ),
                **quality[r.output],
            }
            for r in rows
        ]

    def cycles(self, sources: tuple[str, ...], roles: tuple[str, ...]) -> Block:
        """Starts and short runs of some sources; nulls where none of their outputs was logged."""
        rows = [r for r in self.rows("measure.cycle") if r.source in sources]
        inferred = [r for r in rows if r.is_inferred]
        also = tuple(f"inferred_{'heat' if r.mode == 'heating' else 'cool'}" for r in inferred)
        figures = [self.figures[role] for role in (*roles, *also) if role in self.figures]
        if not any(coverage for coverage, _ in figures):
            return {
                "starts": None,
                "starts_outside_visits": None,
                "short_runs": None,
                "short_runs_ended_by_limit": None,
                "short_rests": None,
                "at_least": None,
                "fitted_nmax_per_h": None,
                "by_mode": [],
                "coverage": 0.0,
                "resolution_s": None,
            }
        fitted = [r for r in rows if r.fitted_nmax_per_h is not None]
        best = max(fitted, key=lambda r: (int(r.n_fit_hour), r.mode), default=None)
        return {
            "starts": sum(int(r.n_start_all) for r in rows),
            "starts_outside_visits": sum(int(r.n_start) for r in rows),
            "short_runs": sum(int(r.n_short_run) for r in rows),
            "short_runs_ended_by_limit": sum(int(r.n_short_run_by_limit) for r in rows),
            "short_rests": sum(int(r.n_short_rest) for r in rows),
            "at_least": any(bool(r.is_at_least) for r in rows),
            "fitted_nmax_per_h": None if best is None else rounded(number(best.fitted_nmax_per_h)),
            "by_mode": [
                {
                    "source": r.source,
                    "mode": r.mode,
                    "starts": int(r.n_start_all),
                    "starts_outside_visits": int(r.n_start),
                    "short_runs": int(r.n_short_run),
                    "short_rests": int(r.n_short_rest),
                    "median_run_s": number(r.median_run_s),
                    "fitted_nmax_per_h": rounded(number(r.fitted_nmax_per_h)),
                }
                for r in sorted(rows, key=lambda r: (str(r.source), str(r.mode)))
            ],
            **(
                {
                    "inferred": True,
                    "starts_expected_error_frac": max(
                        (e for r in inferred if (e := number(r.starts_error_frac)) is not None),
                        default=None,
                    ),
                }
                if inferred
                else {}
            ),
            "coverage": rounded(min(coverage or 0.0 for coverage, _ in figures)),
            "resolution_s": max((res for _, res in figures if res is not None), default=None),
        }

    def trips(self) -> list[Block]:
        """Panel trips and equipment cut-outs, visits included and marked, by time."""
        made = [
            {
                "kind": r.kind,
                "opened_by": r.opened_by,
                "start": iso(r.start_ts),
                "drop": iso(r.drop_ts),
                "end": iso(r.end_ts),
                "peak_f": number(r.peak_f),
                "certain": bool(r.is_certain),
                "zones_calling": list(zone_numbers(r.zones)),
                "stage": None if r.stage is None else int(r.stage),
                "in_visit": bool(r.in_visit),
                **self.quality("trips"),
            }
            for r in self.rows("measure.trip_context")
        ]
        made += self._cut_outs()
        return sorted(made, key=lambda t: (t["start"], t["kind"], t["opened_by"]))

    def _cut_outs(self) -> list[Block]:
        """Equipment cut-outs as entries of `trips`, opened by the equipment."""
        cut_outs, condition = self.frame("interval.cut_out"), self.frame("interval.condition")
        if cut_outs is None or condition is None or cut_outs.empty:
            return []
        quality = self.quality("cut_outs")
        least_s = 2 * (quality["resolution_s"] or 0.0)
        return [
            {
                "kind": KIND_OF_CUT_OUT.get(r.source, "high"),
                "opened_by": "equipment",
                "start": iso(r.start_ts),
                "drop": None,
                "end": iso(r.end_ts),
                "peak_f": number(r.peak_f),
                "certain": bool(r.is_certain) and (r.end_ts - r.start_ts) / MICROSECONDS >= least_s,
                "zones_calling": list(zone_numbers(r.zones)),
                "stage": None if r.stage is None else int(r.stage),
                "in_visit": bool(r.in_visit),
                **quality,
            }
            for r in records(with_condition(condition, cut_outs, "start_ts"))
        ]

    def static(self) -> Block:
        """Time above target with visits and without; excursions and relief, visits left out.

        What is counted beside the excursions, and stands on the page, is the time without.
        """
        r = next(iter(self.rows("measure.static_total")), None)
        if r is None:
            return {
                "fan_s": None,
                "above_target_s": None,
                "fan_outside_visits_s": None,
                "above_target_outside_visits_s": None,
                "above_more_s": None,
                "above_far_s": None,
                "area_inwc_min": None,
                "max_inwc": None,
                "excursions": None,
                "relief_actions": None,
                "relief": None,
                "hunting": [],
                "zero": None,
                "fan_from": None,
                "coverage": 0.0,
                "resolution_s": None,
            }
        return {
            **fan_block(r.fan_source),
            "fan_s": number(r.fan_s),
            "above_target_s": rounded(number(r.above_target_s)),
            "fan_outside_visits_s": rounded(number(r.fan_outside_visit_s)),
            "above_target_outside_visits_s": rounded(number(r.above_target_outside_visit_s)),
            "above_more_s": rounded(number(r.above_more_s)),
            "above_far_s": rounded(number(r.above_far_s)),
            "area_inwc_min": rounded(number(r.area_inwc_min)),
            "max_inwc": rounded(number(r.max_inwc)),
            "excursions": None if r.n_excursion is None else int(r.n_excursion),
            "relief_actions": None if r.n_relief is None else int(r.n_relief),
            "relief": next(map(relief_block, self.rows("measure.relief")), None),
            "hunting": [
                hunting_block(h)
                for h in sorted(self.rows("measure.static_hunting"), key=lambda h: int(h.start_ts))
                if h.is_hunting and not h.in_visit
            ],
            "zero": next(map(zero_block, self.rows("measure.static_zero")), None),
            "coverage": rounded(number(r.coverage)),
            "resolution_s": number(r.resolution_s),
        }

    def staging(self) -> Block:
        """Second-stage starts that were out of order, visits left out."""
        table = self.frame("measure.stage_up")
        rows = [] if table is None else records(table[~flags(table["in_visit"])])
        rows.sort(key=lambda r: (int(r.start_ts), r.source))
        missing, why_missing = never_came_on(self.rows)
        made, why = stage_starts(self.rows, rows)
        if why_missing is not None:
            why["never_came_on"] = why_missing
        return {
            **made,
            "never_came_on": missing,
            **({"not_measured": why} if why else {}),
            **self.quality("staging"),
        }

    def balance(self) -> Block:
        """Heat on the wrong side of a balance point, visits left out."""
        return balance(self.rows, self.quality("outdoor"))

    def zones(self) -> list[Block]:
        """Each zone of the site: its calls in both modes, visits included; comfort without them."""
        calls = self.rows("measure.zone_call")
        comfort = self.rows("measure.zone_comfort")
        made = []
        for zone, name in sorted(self.result.site.zones.items()):
            own = [r for r in calls if int(r.zone) == zone]
            held = [r for r in comfort if int(r.zone) == zone]
            block: Block = {
                "zone": zone,
                "name": name,
                "calling_s": sum(float(r.calling_s) for r in own) if own else None,
                "calls": sum(int(r.n_call) for r in own) if own else None,
                "not_keeping_up_s": sum(float(r.not_keeping_up_s) for r in held) if held else None,
                "by_mode": [self._comfort(r) for r in sorted(held, key=lambda r: str(r.mode))],
                "coverage": rounded(min(number(r.coverage) or 0.0 for r in own)) if own else 0.0,
                "resolution_s": max((number(r.resolution_s) or 0.0 for r in own), default=None),
            }
            if not own:
                block |= calls_by_damper(self.rows, zone)
            if not held:
                block["not_measured"] = {"not_keeping_up_s": NO_COMFORT}
            made.append(block)
        return made

    def _comfort(self, r: Any) -> Block:
        """One zone in one mode: how far from its setpoint, with the rule that was used."""
        pick_up = next(
            (
                number(p.slope_f_per_h)
                for p in self.rows("measure.zone_response")
                if int(p.zone) == int(r.zone) and p.mode == r.mode and p.damper in (None, "open")
                if p.is_calling
            ),
            None,
        )
        return {
            "mode": r.mode,
            "rule": r.rule,
            "not_keeping_up_s": number(r.not_keeping_up_s),
            "not_keeping_up_days": int(r.n_day),
            "short_degree_h": rounded(number(r.short_degree_h)),
            "over_degree_h": rounded(number(r.over_degree_h)),
            "pick_up_f_per_h": rounded(pick_up),
            "coverage": rounded(number(r.coverage)),
            "resolution_s": number(r.resolution_s),
        }


def _inferred_runtime(r: Any) -> Block:
    """What marks a runtime that was inferred: how far off it may be, and W's time if a burner's."""
    return {
        "inferred": True,
        "expected_error_frac": number(r.runtime_error_frac),
        "starts_expected_error_frac": number(r.starts_error_frac),
        "asked_s": number(r.asked_s),
    }
