"""The samples as their owner has them: site.toml and the exports as the loggers wrote them."""

from __future__ import annotations

import gzip
import lzma
import shutil
import tarfile
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


def fleet_sites() -> list[str]:
    """The ids of the sample fleet's sites, in order."""
    packed = files("sample_data") / "fleet" / "packed"
    return sorted(p.name.removesuffix(".tar.xz") for p in packed.iterdir())


def unpack_fleet(folder: Path) -> Path:
    """The new folder with a folder for every site of the sample fleet.

    Raises FileExistsError if the folder is already there, so that nothing is overwritten.
    """
    folder.mkdir(parents=True, exist_ok=False)
    for site_id in fleet_sites():
        unpack_fleet_site(site_id, folder)
    return folder


def unpack_fleet_site(site_id: str, folder: Path) -> Path:
    """The new folder `folder/site_id` of one site of the sample fleet."""
    site = folder / site_id
    site.mkdir(parents=True, exist_ok=False)
    with (
        as_file(files("sample_data") / "fleet" / "packed" / f"{site_id}.tar.xz") as packed,
        lzma.open(packed) as whole,
        tarfile.open(fileobj=whole) as archive,
    ):
        # by hand: Python 3.11 knows extractall's filter only from 3.11.4 on
        for member in archive:
            target = site / member.name
            if member.isfile() and target.resolve().is_relative_to(site.resolve()):
                target.parent.mkdir(parents=True, exist_ok=True)
                source = archive.extractfile(member)
                assert source is not None  # a regular file has contents
                with source, target.open("wb") as unpacked:
                    shutil.copyfileobj(source, unpacked)
    return site
