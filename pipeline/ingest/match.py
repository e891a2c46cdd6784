"""Which file belongs to which logger, and which column to which channel."""

from __future__ import annotations

import fnmatch
import re
from pathlib import PurePosixPath

from pipeline import site as site_file
from pipeline.errors import SiteFileError, UserError
from pipeline.ingest.export_file import OpenExport, long_names
from pipeline.site import Channel, Site


def matches(path: str, pattern: str) -> bool:
    """Whether a path below the site folder is meant by a pattern of site.toml.

    A packed export answers to its name with and without the .gz, one inside an archive or a
    workbook to the container's name too.
    """
    pattern = pattern.replace("\\", "/").removeprefix("./")
    names = [path, path.removesuffix(".gz")]
    container = re.match(r"(?i)(.*\.(?:zip|xlsx))/", path)
    if container:
        names.append(container.group(1))
    return any(fnmatch.fnmatchcase(name, pattern) for name in names)


def logger_names(paths: list[str], channels: list[set[int]], site: Site) -> list[str]:
    """The logger each file belongs to, as store.file.logger in columns.toml says.

    channels : per file, the channels found in it. Files that only their digits tell apart are one
        logger as long as they share a channel, else each is called by its whole name.
    """
    names = [_logger_name(path, site) for path in paths]
    for name in set(names):
        if _is_named(name, site):
            continue
        mine = [k for k, n in enumerate(names) if n == name]
        seen = set(channels[mine[0]])
        left = mine[1:]
        while joined := [k for k in left if seen & channels[k] or not channels[k]]:
            seen = seen.union(*(channels[k] for k in joined))
            left = [k for k in left if k not in joined]
        if left:
            for k in mine:
                names[k] = _stem(paths[k])
    return names


def _logger_name(path: str, site: Site) -> str:
    for export in site.exports:
        if matches(path, export.files):
            return export.files
    for channel in site.channels:
        if channel.file and matches(path, channel.file):
            is_pattern = re.search(r"[*?\[]", channel.file)
            return channel.file if is_pattern else _stem(path)
    folder, _, stem = _stem(path).rpartition("/")
    plain = re.sub(r"[_\-. ()]+$|^[_\-. ()]+", "", re.sub(r"\d+", "", stem))
    plain = re.sub(r"[_\-. ]{2,}", "_", plain) or "logger"
    return f"{folder}/{plain}" if folder else plain


def _is_named(name: str, site: Site) -> bool:
    return any(name == e.files for e in site.exports) or any(name == c.file for c in site.channels)


def _stem(path: str) -> str:
    """The path below exports/ without suffixes."""
    pure = PurePosixPath(path)
    folder = pure.parent.as_posix().removeprefix("exports").strip("/")
    stem = re.sub(r"(\.[A-Za-z]{2,4}){1,2}$", "", pure.name)
    return f"{folder}/{stem}" if folder else stem


def export_block(site: Site, path: str) -> site_file.Export | None:
    """The first [[export]] block whose pattern the path fits."""
    return next((e for e in site.exports if matches(path, e.files)), None)


def match_channels(site: Site, opened: list[OpenExport]) -> list[dict[int, Channel]]:
    """Per file, the channels found in it by their number in site.channels.

    Raises SiteFileError with every [[channel]] and [[export]] that names what is not there.
    """
    problems: list[UserError] = []
    used: list[dict[int, Channel]] = [{} for _ in opened]
    names = [long_names(o) if o.is_long else [] for o in opened]
    loggers = [_logger_name(o.export.path, site) for o in opened]
    paths = [o.export.path for o in opened]
    for said in site.exports:
        if not any(matches(p, said.files) for p in paths):
            problems.append(_no_such_file(site, said.files, said.line, paths))
    for number, channel in enumerate(site.channels):
        files = [k for k, p in enumerate(paths) if channel.file is None or matches(p, channel.file)]
        if not files:
            problems.append(_no_such_file(site, str(channel.file), channel.line, paths))
            continue
        found = [
            k
            for k in files
            if channel.column in names[k] or opened[k].value_column(channel.column) is not None
        ]
        if not found:
            where = paths[files[0]] if len(files) == 1 else f"any of {len(files)} exports"
            there = [f"{paths[k]}: {', '.join(names[k] or opened[k].value_columns)}" for k in files]
            problems.append(
                UserError(
                    f"there is no column {channel.column!r} in {where}",
                    file=site.path,
                    line=channel.line,
                    found="the columns are " + "; ".join(there),
                    expected="one of these, written as in the file",
                )
            )
            continue
        of = sorted({loggers[k] for k in found})
        if len(of) > 1:
            problems.append(
                UserError(
                    f"the column {channel.column!r} is in the files of several loggers",
                    file=site.path,
                    line=channel.line,
                    found=", ".join(paths[k] for k in found),
                    expected=f'file = "{paths[found[0]]}", or [[export]] blocks that say which '
                    "files belong together",
                )
            )
            continue
        if channel.role != "ignore":
            for k in found:
                used[k][number] = channel
    if problems:
        raise SiteFileError(problems)
    return used


def _no_such_file(site: Site, pattern: str, line: int | None, paths: list[str]) -> UserError:
    return UserError(
        f"no export is called {pattern}",
        file=site.path,
        line=line,
        found=", ".join(paths) or "no exports at all",
        expected="a pattern that one of these fits, such as exports/plenum*.csv",
    )
