"""Where each key of a TOML file stands, which the standard parser does not tell."""

from __future__ import annotations

import re

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*("[^"]*"|'[^']*'|[A-Za-z0-9_-]+)\s*(?:\.|=)""")


class TomlLines:
    """Physical lines of a TOML text's tables and keys.

    Made for files that already parsed; text in multi-line strings and arrays is not mistaken for
    keys as long as those are closed.
    """

    def __init__(self, text: str) -> None:
        self._lines: dict[tuple[str, int | None, str | None], int] = {}
        counts: dict[str, int] = {}
        table, index = "", None
        closing: str | None = None
        depth = 0
        for number, line in enumerate(text.splitlines(), start=1):
            if closing is not None:
                if closing in line:
                    closing = None
                continue
            if depth == 0 and (header := _HEADER.match(line)):
                table = header.group(2).strip("\"' ")
                index = None
                if header.group(1) == "[[":
                    index = counts.get(table, 0)
                    counts[table] = index + 1
                self._lines.setdefault((table, index, None), number)
                continue
            if depth == 0 and (key := _KEY.match(line)):
                name = key.group(1).strip("\"'")
                self._lines.setdefault((table, index, name), number)
                if table == "":
                    self._lines.setdefault((name, None, None), number)
            for quotes in ('"""', "'''"):
                if line.count(quotes) == 1:
                    closing = quotes
            bare = re.sub(r""""(?:\\.|[^"\\])*"|'[^']*'|#.*""", "", line)
            depth = max(0, depth + bare.count("[") - bare.count("]"))

    def line(self, table: str, index: int | None = None, key: str | None = None) -> int | None:
        """The physical line of a key, else of its table, else None."""
        for place in ((table, index, key), (table, index, None), (table, None, None)):
            if place in self._lines:
                return self._lines[place]
        return self._lines.get((table, 0, None))
