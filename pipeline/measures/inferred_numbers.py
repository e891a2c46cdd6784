"""The judgement numbers by which runs are inferred from supply and return air, in one table.

They stand here and not in `pipeline.thresholds`: no site sets them, as the expected errors were
measured with these and hold for no others. The columns are the same: value, unit, meaning, when it
applies, source. What is not here (steps of a search, widths of a window that is searched, the
shapes of densities) is how the algorithm counts and stands beside it.
"""

from __future__ import annotations

from pipeline.thresholds import Threshold

_TUNED = "chosen on simulated systems of the tuning part"
_COMMON = "common practice, no source"
_STATES = "states of the equipment"
_STARTS = "start of a compressor"
_STAGES = "second stage, inferred"

# name, value, unit, meaning, when it applies, source
_ROWS: tuple[tuple[str, float, str, str, str, str], ...] = (
    # ------------------------------------------------- states: pipeline/measures/supply_shape.py
    ("noise_f", 0.2, "°F", "a reading's own scatter, and its last digit",
     "weighing a step", "probes written to 0.1 °F; " + _TUNED),
    ("creep_s", 600.0, "s", "with the fan off supply nears what is around the unit no faster: "
     "least time constant", _STATES, _TUNED),
    ("creep_place_f", 8.0, "°F", "what is around the unit may lie so far beyond return and "
     "outdoors", _STATES, _TUNED),
    ("attic_over_outdoor_f", 35.0, "°F", "an attic in the sun may be so much over outdoors",
     _STATES, _COMMON),
    ("place_under_return_f", 45.0, "°F", "what is around the unit may lie so far under return",
     "outdoors not known", _TUNED),
    ("place_over_return_f", 60.0, "°F", "and so far over it", "outdoors not known", _TUNED),
    ("heads_for_frac", 0.65, "share", "a run heads for no less than this share of what the site's "
     "weaker runs reach", _STATES, _TUNED),
    ("weakens_to_frac", 0.85, "share", "a compressor's run that weakens heads for no less: its "
     "stages are nearer to one another than a burner's", _STATES, _TUNED),
    ("drift_times", 2.0, "times", "a step is told from the one before it no better than so many "
     "times a reading's scatter", _STATES, _TUNED),
    ("against_log", -8.0, "log weight", "a step against what was logged of the fan, or of a start "
     "that no zone called for: less than certain, since clocks may differ by seconds and a fan "
     "runs on", _STATES, _TUNED),
    ("unexplained_log", -14.0, "log weight", "a step that a state cannot explain: the same for "
     "all, so that one odd reading does not outweigh a run", _STATES, _TUNED),
    ("unexplained_off_log", -8.0, "log weight", "such a step with the fan off", _STATES, _TUNED),
    ("tau_s", 70.0, "s", "time constant of coil and exchanger with the fan on",
     "before the site's own is fitted", "20 Btu/°F in 1,000 cfm: common practice, no source"),
    ("tau_min_s", 40.0, "s", "least time constant that is fitted", _STATES, _TUNED),
    ("tau_max_s", 110.0, "s", "greatest", _STATES, _TUNED),
    ("rise_pump_f", 20.0, "°F", "rise of a heat pump", "before the site's own is fitted", _COMMON),
    ("rise_burner_f", 30.0, "°F", "rise of a burner, weaker runs",
     "before the site's own is fitted", _COMMON),
    ("rise_min_f", 10.0, "°F", "least rise that is fitted", _STATES, _TUNED),
    ("rise_max_f", 80.0, "°F", "greatest", _STATES, _TUNED),
    ("rise_top_f", 90.0, "°F", "the most that a step may head for in heating",
     "before the site's own is fitted", _TUNED),
    ("split_f", 15.0, "°F", "split of cooling, weaker runs", "before the site's own is fitted",
     _COMMON),
    ("split_min_f", 8.0, "°F", "least split that is fitted", _STATES, _TUNED),
    ("split_max_f", 30.0, "°F", "greatest", _STATES, _TUNED),
    ("split_top_f", 35.0, "°F", "the most that a step may head for in cooling",
     "before the site's own is fitted", _TUNED),
    ("weak_burner_frac", 0.2, "share", "share of runs that may be weaker than a burner's rise or a "
     "split", "fitting rise and split", _TUNED),
    ("weak_pump_frac", 0.05, "share", "the same of a heat pump, whose rise sinks with the weather",
     "fitting the rise", _TUNED),
    ("level_after_s", 300.0, "s", "so long after its start a run stands near its level",
     "fitting rise and split, levels of two stages", _TUNED),
    ("least_runs", 5, "runs", "fewer say nothing of the site's own numbers", "fitting", _TUNED),
    ("least_steps", 20, "steps", "fewer say nothing of the time constant", "fitting", _TUNED),
    # -------------------------------------------------------- edges: pipeline/measures/run_edges.py
    ("edge_share_frac", 0.28, "share", "of the change that is done at the instant taken as edge",
     "starts and ends", _TUNED),
    ("burner_lag_s", 46.0, "s", "from flame to that share at the probe, and as long after it: fan "
     "delay, exchanger and probe", "a burner's edges",
     "median of simulated furnaces of the tuning part: 40 to 56 s"),
    ("compressor_tau_s", 110.0, "s", "time constant with which a compressor's edges are read, "
     "coil's and probe's lag together; not the site's fitted one: a coil gives its cold off almost "
     "evenly over the short time the fan runs on, and with the fit alone ends moved by 15 s",
     "a compressor's edges", _TUNED),
    ("start_lag_s", 31.0, "s", "from a compressor's start with the fan on before, to that share of "
     "what steps head for", "where the shape of the start says nothing",
     "tuning part, median 29 to 34 s"),
    ("end_lag_s", 24.0, "s", "from a compressor's stop to that share, less a sixth of the "
     "interval: what a wide step heads for turns before its middle", "a compressor's edges",
     "tuning part at 10 s, medians of systems 17 to 33 s, of those with one stage 17 to 23 s"),
    # ------------------------------------------------------ starts: pipeline/measures/coil_start.py
    ("coil_lag_s", 60.0, "s", "lag of a refrigerant circuit, and of the metal of coil and cabinet "
     "(20 Btu/°F in 1,000 cfm)", "where a site's starts do not tell another", _COMMON),
    ("probe_lag_s", 12.0, "s", "lag of a probe in moving air", _STARTS, _COMMON),
    ("coil_clearly", 5.0, "squares", "a coil is told from a likelier one only by so many squares "
     "(of residuals in scatters) that the median start leaves unexplained: at a minute between "
     "readings lags of 60 and 70 s look alike", _STARTS, _TUNED),
    ("creep_f_per_min", 1.0, "°F/min", "how fast supply may creep with the fan off, as a spread",
     _STARTS, _TUNED),
    ("jump_f", 3.0, "°F", "how far what the fan moves at once may lie from what was in the plenum, "
     "as a spread", _STARTS, _TUNED),
    ("poor_start", 40.0, "squares", "unexplained by every instant tried, less one a reading, from "
     "which the shape of a start says nothing", _STARTS, _TUNED),
    ("switch_s", 5.0, "s", "from the output to a fan that moves air", _STARTS,
     "tuning part, medians of systems 0 to 11 s"),
    # -------------------------------------- sources and defrost: pipeline/measures/inferred_runs.py
    ("run_on_after_call_s", 300.0, "s", "a compressor's minimum run: it may run on so long after "
     "the last call ended", "calls logged", _COMMON),
    ("least_stretch_s", 900.0, "s", "shorter stretches of log tell nothing", _STATES, _TUNED),
    ("reversed_f", 3.0, "°F", "so far under return a reversed valve takes heat out of the air",
     "defrost", _TUNED),
    ("defrost_every_s", 1800.0, "s", "defrost controls allow one after 30 to 120 min of compressor "
     "heat", "defrost", _COMMON),
    ("tempered_frac", 0.15, "share", "with strip heat on in a defrost supply heads for at least "
     "twice this share of the run's level at first, for once at last, and comes down by once in "
     "between", "defrost", _TUNED),
    ("run_on_from_s", 60.0, "s", "a blower runs on for so long after a stop", "defrost", _COMMON),
    ("run_on_until_s", 130.0, "s", "up to so long", "defrost", _COMMON),
    ("rest_frac", 0.85, "share", "of its minimum rest, for less than which a compressor cannot "
     "have rested", "defrost", _TUNED),
    ("source_times", 1.6, "times", "burner runs stand at least so many times as high over return "
     "as compressor runs", "dual fuel", _TUNED),
    ("burner_from_f", 34.0, "°F", "over return, from which a run is a burner's",
     "dual fuel with one kind of run only", "usual rises: " + _COMMON),
    ("compressor_to_f", 26.0, "°F", "over return, to which a run is a heat pump's",
     "dual fuel with one kind of run only", "usual rises: " + _COMMON),
    ("least_for_split", 12, "runs", "fewer do not part burner from compressor", "dual fuel",
     _TUNED),
    # ----------------------------------------------- stages: pipeline/measures/inferred_stage.py
    ("quiet_s", 180.0, "s", "a level is read in stretches of this length", _STAGES, _TUNED),
    ("quiet_drift_f", 1.5, "°F", "in one supply over return moves no more from end to end",
     _STAGES, _TUNED),
    ("least_quiet", 30, "stretches", "fewer do not tell two stages", _STAGES, _TUNED),
    ("least_in_group", 5, "stretches", "fewer at a level make no stage", _STAGES, _TUNED),
    ("apart_times", 2.0, "times", "two groups stand clear when their means are so many of their "
     "widths (both added) apart", _STAGES, _TUNED),
    ("stage_min_times", 1.2, "times", "second over first stage, in supply over return: under it "
     "zones and weather", _STAGES, "tuning part: 1.21 to 1.40 where stages part the levels"),
    ("stage_max_times", 1.6, "times", "over it strip heat", _STAGES,
     "tuning part: 1.21 to 1.40 where stages part the levels"),
)  # fmt: skip

NUMBERS = {
    name: Threshold(name, float(value), unit, means, when, source, "ours")
    for name, value, unit, means, when, source in _ROWS
}


def number(name: str) -> float:
    """The value of that name. Raises KeyError for a name that is not in the table."""
    return NUMBERS[name].value
