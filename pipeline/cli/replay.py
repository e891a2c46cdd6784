"""zonetrail replay: other settings on the same log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import Progress, answer, common
from pipeline.guard import DONE, NOT_CLEAN

if TYPE_CHECKING:
    from pipeline.replay.replayed import Replay


@click.command(
    epilog="Example: zonetrail replay larch-14 --set stage2_min_zones=1,2,3 "
    "--set stage_up_delay_min=10,15",
    short_help="Other settings on the same log: what they would have commanded.",
)
@click.argument("site", type=click.Path(path_type=Path))
@click.option(
    "--set",
    "sets",
    metavar="NAME=VALUE[,VALUE...]",
    multiple=True,
    help="A setting of site.toml and values to try; may be given several times.",
)
@click.option("--align", is_flag=True, help="Take out clock offsets that the data show.")
@common("units", "json", "strict", "quiet", "redact")
def command(
    site: Path,
    sets: tuple[str, ...],
    align: bool,
    units: str,
    as_json: bool,
    strict: bool,
    quiet: bool,
    redact: bool,
) -> int:
    """Try other settings on the log of SITE: what the panel would have commanded.

    Settings: stage_up_delay_min, stage2_min_zones, static_target_inwc, low_balance_f,
    high_balance_f, compressor_min_off_min, high_limit_f, low_limit_f; values in the units of
    site.toml. Values of settings that act together are tried in every combination. A raised high
    limit, a lowered low limit, a shorter minimum-off and a target above the blower's rated static
    are refused. Writes report/replay.html and report/replay.json in the site folder.

    Exit codes: 0 done; 1 with --strict, if the replay at the settings as found does not give what
    was logged; 2 a setting is unsafe or cannot be understood, or a file cannot be used; 3 a fault
    of ours.
    """
    import json

    from pipeline.cli.review import report_folder, write_whole
    from pipeline.replay.replayed import replay_document, replay_site
    from reports.replay import render_replay, replay_text

    with Progress(quiet or as_json) as progress:
        made: Replay = replay_site(
            site, sets, align=align, units=units, redact=redact, progress=progress.step
        )
        document = json.dumps(
            replay_document(made), ensure_ascii=False, indent=2, sort_keys=True, allow_nan=False
        )
        target = report_folder(site.parent if site.name == "site.toml" else site)
        write_whole(target / "replay.html", render_replay(made))
        write_whole(target / "replay.json", document + "\n")
    if as_json:
        click.echo(document)
    else:
        answer(f"{replay_text(made)}\n\nPage: {target / 'replay.html'}")
    return NOT_CLEAN if strict and not all(r.agrees for r in made.reproduced) else DONE
