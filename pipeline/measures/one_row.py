"""Tables of one row per site, by site: what a Python stage reads its numbers from."""

from __future__ import annotations

from typing import Any

import pandas as pd


def by_site(rows: pd.DataFrame) -> dict[Any, dict[str, Any]]:
    """Each site's row as a dict of its columns, site_id left out; by site_id.

    The judgement numbers are hundreds of columns, which pandas turns into records one by one.
    """
    names = [str(c) for c in rows.columns if c != "site_id"]
    values = rows[names].to_numpy(dtype=object).tolist()
    return {
        site_id: dict(zip(names, row, strict=True))
        for site_id, row in zip(rows["site_id"], values, strict=True)
    }
