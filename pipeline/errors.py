"""The errors a user can cause; each says where, what was found and what would be right."""

from __future__ import annotations

from pathlib import Path

from pipeline.terminal import shortened, visible

# A line of megabytes is an export's, not a message's; a list of a file's columns still fits.
_MOST_LETTERS = 1_000


class UserError(Exception):
    """A mistake in what the tool was given, never in the tool.

    what : one sentence, what is wrong
    file, line : where (physical line, from 1); None where there is no such place
    found, expected : the offending text and what would be right
    hint : the next step
    """

    def __init__(
        self,
        what: str,
        *,
        file: str | Path | None = None,
        line: int | None = None,
        found: str | None = None,
        expected: str | None = None,
        hint: str | None = None,
    ) -> None:
        self.what = what
        self.file = str(file) if file is not None else None
        self.line = line
        self.found = found
        self.expected = expected
        self.hint = hint
        super().__init__(str(self))

    def __str__(self) -> str:
        where = ""
        if self.file is not None:
            where = self.file + (f":{self.line}" if self.line is not None else "") + ": "
        parts = [where + shortened(self.what, _MOST_LETTERS)]
        for name, text in (("found", self.found), ("expected", self.expected), ("next", self.hint)):
            if text is not None:
                parts.append(f"  {name + ':':9} {shortened(text, _MOST_LETTERS)}")
        return visible("\n".join(parts))


class InputError(UserError):
    """An export, folder or option that cannot be used as it is."""


class SiteFileError(UserError):
    """site.toml is wrong; `problems` lists every mistake found, not just the first."""

    def __init__(self, problems: list[UserError]) -> None:
        self.problems = problems
        first = problems[0]
        super().__init__(
            first.what,
            file=first.file,
            line=first.line,
            found=first.found,
            expected=first.expected,
            hint=first.hint,
        )

    def __str__(self) -> str:
        return "\n".join(UserError.__str__(p) for p in getattr(self, "problems", []))


class StoreError(UserError):
    """The store on disk cannot be read or is of another layout."""


class StageError(Exception):
    """A stage file breaks the rules of sql/; a fault of ours, not of the user's."""
