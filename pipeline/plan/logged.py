"""What a site already has: its channels with the interval they were read at."""

from __future__ import annotations

from pipeline.errors import StoreError
from pipeline.plan.record import Logged
from pipeline.site import Site

_CHANNELS = "select role, zone, interval_s, is_sampled, n_reading from channel order by channel_id"


def logged_channels(site: Site) -> tuple[Logged, ...]:
    """The site's channels: from its store with their intervals, else from its site file without.

    Nothing is loaded and nothing is written; channels that are not used are left out. A store of
    another version counts as none.
    """
    listed = tuple(
        Logged(c.role, c.zone, None) for c in site.channels if c.meaning.kind != "ignore"
    )
    if not site.store_path.is_file():
        return listed
    from pipeline.store import open_store  # the database is not needed for a plan from scratch

    try:
        with open_store(site.store_path) as connection:
            rows = connection.execute(_CHANNELS).fetchall()
    except StoreError:
        return listed
    return tuple(
        Logged(role, zone, interval_s, bool(is_sampled))
        for role, zone, interval_s, is_sampled, n_reading in rows
        if n_reading
    )
