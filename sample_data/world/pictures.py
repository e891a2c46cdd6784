"""Pictures of a system as a technician would page through its log: air, static, rooms, states."""

from pathlib import Path
from typing import Any

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from sample_data.world.channels import panel_states, setpoints
from sample_data.world.export import Export
from sample_data.world.known import Known
from sample_data.world.loop import Record
from sample_data.world.system import WARM_UP_S, System

STEP_S = 10
LINE = "#444444"


def window(system: System, facts: dict[str, Any], hours: float) -> tuple[int, int]:
    """Seconds of the record to show: around the first telling event, else where most starts lie."""
    hourly = np.bincount([run["start"] // 3600 for some in facts["runs"].values() for run in some])
    some_hours = np.convolve(hourly, np.ones(int(hours)), "valid")
    start = max(WARM_UP_S, int(np.argmax(some_hours)) * 3600)
    told = [t["drop"] for t in facts["trips"] if not t["in_visit"]]
    told += [c["start"] for c in facts["cut_outs"] if not c["in_visit"]]
    told += [c["off"] for c in facts["chatter"]]
    told += [
        s["at"]
        for mode in facts["second_stage"].values()
        for s in mode["starts"]
        if (s["too_few_zones"] or s["early"]) and not s["in_visit"]
    ]
    told += [f["start"] for f in facts["fault_contact"] + facts["power_out"]]
    told += [WARM_UP_S + int(upset[1] * 3600) for upset in system.upsets]
    told += [WARM_UP_S + int(f.from_h * 3600) for f in system.logging.faults if f.from_h > 0]
    if told:
        start = max(WARM_UP_S, sorted(told)[len(told) // 2] - int(hours * 1800))
    start = min(start, system.seconds - int(hours * 3600))
    return start, start + int(hours * 3600)


def draw(system: System, record: Record, facts: dict[str, Any], hours: float = 10.0) -> go.Figure:
    """The figure: readings as the loggers would give them (noise and faults included)."""
    start, end = window(system, facts, hours)
    at = np.arange(start, end, STEP_S)
    k = Known(system, record)
    begin = system.start.replace(tzinfo=None)
    x = (np.datetime64(begin, "s") + at).astype("datetime64[s]")
    figure = make_subplots(
        rows=4,
        cols=1,
        shared_xaxes=True,
        vertical_spacing=0.03,
        row_heights=[0.25, 0.17, 0.22, 0.36],
    )

    def line(row: int, name: str, y: Any, color: str, **more: Any) -> None:
        figure.add_trace(
            go.Scatter(
                x=x, y=y, name=name, mode="lines", line={"color": color, "width": 1, **more}
            ),
            row=row,
            col=1,
        )

    line(1, "supply °F", k.supply[at], "#c0392b")
    line(1, "return °F", k.back[at], "#2471a3")
    line(1, "outdoor °F", k.outdoor[at], "#888888", dash="dot")
    line(2, "static", k.static[at], "#117a65")
    line(2, "return static", record.signal("return_static_inwc")[at], "#76448a")
    p = system.plant
    limit = (
        p.low_limit_f if facts["hours"]["cooling"] > facts["hours"]["heating"] else p.high_limit_f
    )
    figure.add_hline(limit, line={"dash": "dash", "width": 1, "color": LINE}, row=1, col=1)
    figure.add_hline(
        p.static_target_inwc, line={"dash": "dash", "width": 1, "color": LINE}, row=2, col=1
    )
    colors = ("#1f618d", "#b9770e", "#1e8449", "#922b21", "#6c3483", "#566573")
    for i in range(record.zones):
        line(3, f"zone {i + 1}", record.signal(f"zone_{i}_f")[at], colors[i])
        cooling = system.zones[i].mode == 2
        line(3, f"set {i + 1}", setpoints(system, i, cooling)[at], colors[i], dash="dot")
    lanes = panel_states(system, record)
    logged = {lane.role for lane in lanes}
    proof = {"flame": "flame", "compressor": "compressor_run", "blower": "blower_run"}
    extra = [
        (name, record.flag(name))
        for name in ("flame", "compressor", "blower", "defrost", "own_limit", "limit", "low_limit")
        if record.flag(name)[at].any() and proof.get(name) not in logged
    ]
    rows = [(c.column, np.asarray(c.values, bool)) for c in lanes] + extra
    rows = [(name, on) for name, on in rows if on[at].any()]
    for place, (name, on) in enumerate(rows):
        base = len(rows) - place
        y = np.where(on[at], base + 0.35, base - 0.35)
        color = "#922b21" if "out" in name else ("#117a65" if "damper" in name else LINE)
        line(4, name, y, color, shape="hv")
    figure.update_yaxes(
        tickvals=[len(rows) - i for i in range(len(rows))],
        ticktext=[name for name, _ in rows],
        tickfont={"size": 9},
        row=4,
        col=1,
    )
    figure.update_yaxes(title_text="°F", row=1, col=1)
    figure.update_yaxes(title_text="in. w.c.", row=2, col=1)
    figure.update_yaxes(title_text="rooms °F", row=3, col=1)
    figure.update_layout(
        title={"text": f"{system.name}: {system.kind}, {system.season}, {system.climate}; "
               f"{system.condition} {system.severity or ''}", "font": {"size": 13}},
        height=980, width=1300, showlegend=False, template="plotly_white",
        margin={"l": 80, "r": 10, "t": 40, "b": 30},
    )  # fmt: skip
    return figure


def save(
    system: System, record: Record, files: list[Export], facts: dict[str, Any], folder: Path
) -> Path:
    """Write the system's picture into `folder`; gives its path."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{system.name}.html"
    draw(system, record, facts).write_html(path, include_plotlyjs="directory", full_html=True)
    return path
