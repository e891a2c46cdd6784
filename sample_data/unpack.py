"""The sample site as a technician has it: site.toml and the exports as the loggers wrote them."""

from __future__ import annotations

import gzip
import shutil
from importlib.resources import as_file, files
from pathlib import Path


def unpack_site(site_id: str, folder: Path) -> Path:
    """The new site folder `folder/site_id`, with its exports unpacked; the truth stays behind.

    Raises FileExistsError if the site folder is already there, so that nothing is overwritten.
    """
    site = folder / site_id
    (site / "exports").mkdir(parents=True, exist_ok=False)
    with as_file(files("sample_data") / site_id) as packed:
        shutil.copyfile(packed / "site.toml", site / "site.toml")
        for file in sorted((packed / "exports").iterdir()):
            target = site / "exports" / file.name.removesuffix(".gz")
            with gzip.open(file, "rb") as source, target.open("wb") as unpacked:
                shutil.copyfileobj(source, unpacked)
    return site
