"""Bytes to text: encoding and line ends, each with its reason."""

from __future__ import annotations

import bisect
import codecs
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.errors import InputError

_BLOCK = 1 << 16
_NEAR = 500
# For more lines than this the place of every line is found out once.
_MANY = 100
_PART = 1 << 22
_VALID = "all bytes are valid UTF-8"
# More stretches of zero bytes than this, and the file is no text with holes in it.
_MAX_HOLES = 20
# How bytes that are not UTF-8 are read in a file that is.
_WESTERN = "zonetrail-western"


@dataclass(frozen=True)
class Text:
    """A file's text as UTF-8 with '\\n' line ends, and how its bytes were read.

    n_lines : physical lines, counted on the undecoded line ends, apart from any reader
    ends : line ends in each block of the content, where they are counted already
    note : what of it was damaged and how that was read; empty for a sound file
    """

    content: bytes
    encoding: str
    n_lines: int
    reason: str
    ends: tuple[int, ...] = ()
    note: str = ""

    def line(self, number: int) -> str:
        """One physical line, from 1."""
        return self.lines([number])[0]

    def lines(self, numbers: Sequence[int]) -> list[str]:
        """Physical lines, from 1; where numbers ascend each is sought from the one before it."""
        out: list[str] = []
        if len(numbers) > _MANY:
            starts = self._line_starts
            for number in numbers:
                start, end = int(starts[number - 1]), int(starts[number])
                out.append(self.content[start : end - 1].decode())
            return out
        start, last = 0, 1
        for number in numbers:
            ahead = number - last
            if not 0 <= ahead <= _NEAR:
                start, ahead = self.start_of(number), 0
            for _ in range(ahead):
                start = self.content.index(b"\n", start) + 1
            last = number
            end = self.content.find(b"\n", start)
            out.append(self.content[start : len(self.content) if end < 0 else end].decode())
        return out

    def start_of(self, number: int) -> int:
        """Where a physical line (from 1) starts in the content."""
        block = bisect.bisect_left(self._ends_before, number - 1) - 1
        if block < 0:
            return 0
        at, left = block * _BLOCK, number - 1 - self._ends_before[block]
        for _ in range(left):
            at = self.content.index(b"\n", at) + 1
        return at

    @cached_property
    def _line_starts(self) -> NDArray[np.int64]:
        """Where each physical line starts, and behind the last one where another would."""
        letters = np.frombuffer(self.content, np.uint8)
        ends = [
            np.flatnonzero(letters[at : at + _PART] == 10) + at
            for at in range(0, len(letters), _PART)
        ]
        last = [] if self.content.endswith(b"\n") else [len(letters)]
        return np.concatenate([[-1], *ends, last]).astype(np.int64) + 1

    @cached_property
    def _ends_before(self) -> list[int]:
        """How many line ends stand before each block of the content."""
        return [0, *accumulate(self.ends or _block_ends(self.content))][:-1]


def decode(content: bytes, shown: str) -> Text:
    """The file's text. Raises InputError if it is not text.

    shown : the path to name in messages

    Holes of zero bytes, as a card keeps them where the power was lost, are taken for blanks.
    """
    note = ""
    if b"\0" in content and not content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        holes = re.findall(rb"\0+", content) if _utf16_without_mark(content) is None else []
        if 0 < len(holes) <= _MAX_HOLES:
            count = sum(map(len, holes))
            line = content[: content.index(b"\0")].count(b"\n") + 1
            note = (
                f"{count:,} zero bytes, the first on line {line}, were taken for blanks: a hole in "
                "the file, as a lost power or a pulled card leaves."
            )
            content = content.replace(b"\0", b" ")
    text = _decoded(content, shown)
    return replace(text, note=" ".join(n for n in (note, text.note) if n))


def _decoded(content: bytes, shown: str) -> Text:
    if content.startswith(codecs.BOM_UTF8):
        encoding, reason = "utf-8-sig", "the file starts with the UTF-8 mark"
    elif content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding, reason = "utf-16", "the file starts with the UTF-16 mark"
    elif (wide := _utf16_without_mark(content)) is not None:
        encoding, reason = wide, "every other byte is zero"
    elif b"\0" in content:
        raise _not_text(shown, "zero bytes between the letters")
    else:
        encoding, reason = "utf-8", _VALID
    if encoding == "utf-8" and _is_utf8(content):
        return _plain(content, shown)
    note = ""
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8":
            raise _not_text(shown, f"bytes that are not {encoding}") from None
        letter = content[error.start]
        mended = _mended(content, error.start)
        if mended is not None:
            text, note = mended
            reason = "all but a few bytes are valid UTF-8"
        else:
            reason = f"byte {letter:#04x} is not UTF-8; read as Windows Western European"
            encoding, text = _western(content)
    _refuse_control(text[:20_000].encode(), shown)
    pairs, returns = text.count("\r\n"), text.count("\r")
    ends = text.count("\n") + returns - pairs
    n_lines = ends + (not text.endswith(("\r", "\n")))
    if returns:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return Text(text.encode(), encoding.removesuffix("-sig"), n_lines, reason, note=note)


def _plain(content: bytes, shown: str) -> Text:
    """The same for bytes that are UTF-8 already, without a detour over letters."""
    _refuse_control(content[:20_000], shown)
    blocks = _block_ends(content)
    ends = sum(blocks)
    if b"\r" in content:
        ends += content.count(b"\r") - content.count(b"\r\n")
        n_lines = ends + (not content.endswith((b"\r", b"\n")))
        content = content.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        return Text(content, "utf-8", n_lines, _VALID)
    return Text(content, "utf-8", ends + (not content.endswith(b"\n")), _VALID, blocks)


def _block_ends(content: bytes) -> tuple[int, ...]:
    return tuple(content.count(b"\n", at, at + _BLOCK) for at in range(0, len(content), _BLOCK))


def _is_utf8(content: bytes) -> bool:
    offsets = pa.py_buffer(np.array([0, len(content)], np.int64))
    whole = pa.Array.from_buffers(pa.large_binary(), 1, [None, offsets, pa.py_buffer(content)])
    try:
        whole.cast(pa.large_string())
    except pa.ArrowInvalid:
        return False
    return True


def _refuse_control(start: bytes, shown: str) -> None:
    strange = sum(start.count(bytes([c])) for c in range(32) if chr(c) not in "\t\n\r\x0c\x1a")
    if strange > max(2, len(start) // 100):
        raise _not_text(shown, f"{strange} control characters")


def _mended(content: bytes, at: int) -> tuple[str, str] | None:
    """UTF-8 with some bytes that are not, and a note of it; None where none of it is UTF-8.

    at : the first byte that is not. Letters of several bytes hardly come about by chance, so a file
    that has one is UTF-8, and its other bytes were cut or written by another program.
    """
    line = content[:at].count(b"\n") + 1
    if b"\n" not in content[at:] and at >= len(content) - 3:
        text = content[:at].decode() + "\N{REPLACEMENT CHARACTER}"
        return text, f"The file ends in the middle of a letter on line {line}: it was cut off."
    text = content.decode(errors="replace")
    bad = text.count("\N{REPLACEMENT CHARACTER}")
    if not any(c > "\x7f" and c != "\N{REPLACEMENT CHARACTER}" for c in set(text)):
        return None
    return content.decode(errors=_WESTERN), (
        f"{bad:,} bytes (the first on line {line}) that are not UTF-8 like the rest of the file "
        "were read as Windows Western European."
    )


def _as_western(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeDecodeError):
        raise error
    return _western(error.object[error.start : error.end])[1], error.end


codecs.register_error(_WESTERN, _as_western)


def _western(content: bytes) -> tuple[str, str]:
    try:
        return "cp1252", content.decode("cp1252")
    except UnicodeDecodeError:  # five bytes mean nothing in it
        return "latin-1", content.decode("latin-1")


def _utf16_without_mark(content: bytes) -> str | None:
    start = content[:2_000]
    if len(start) < 20:
        return None
    even, odd = start[::2].count(0), start[1::2].count(0)
    half = len(start) // 2
    if odd > 0.8 * half and even < 0.05 * half:
        return "utf-16-le"
    if even > 0.8 * half and odd < 0.05 * half:
        return "utf-16-be"
    return None


def _not_text(shown: str, found: str) -> InputError:
    return InputError(
        "this is not a text file",
        file=shown,
        found=found,
        expected="comma-, semicolon- or tab-separated text",
        hint="export the readings as CSV, or move the file out of exports/",
    )
