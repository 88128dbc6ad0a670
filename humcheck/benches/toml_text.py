"""A TOML file as plain values, behind a guard on size and nesting, with the line on which each key stands."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from typing import Any, NoReturn

from humcheck.errors import UnusableCall

LARGEST_BYTES = 1_000_000
#: A bench file needs three levels of brackets, and keys of two parts; the parser's cost grows with both.
DEEPEST_NESTING = 8
MOST_KEY_PARTS = 8

#: Comments and strings, in which brackets, dots and equal signs mean nothing. What is not closed goes on to the end of
#: its line or of the file: a pattern that could fail there would take forever on hostile text.
_OPAQUE = re.compile(
    r'"""(?:[^\\]|\\.)*?(?:"""|\\?\Z)'
    r"|'''.*?(?:'''|\Z)"
    r'|"(?:[^"\\\n]|\\[^\n])*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+",
    re.DOTALL,
)
_LONG_KEY = re.compile(rf"(?<![\w-])[\w-]++(?:[ \t]*+\.[ \t]*+[\w-]++){{{MOST_KEY_PARTS}}}")
_HEADER = re.compile(r"[ \t]*(\[\[?)[ \t]*([\w-]+(?:[ \t]*\.[ \t]*[\w-]+)*)[ \t]*\]")
_ASSIGNMENT = re.compile(r"[ \t]*([\w-]+(?:[ \t]*\.[ \t]*[\w-]+)*)[ \t]*=")

#: Place of a value: keys, and indices into arrays.
KeyPath = tuple[str | int, ...]


class TomlText:
    """The text of a TOML file that was read and parsed.

    Attributes
    ----------
    where : str
        The file, as it was given.
    values : dict
        What it says.
    """

    def __init__(self, where: str, text: str) -> None:
        self.where = where
        self._bare = _OPAQUE.sub(_blanked, text)
        self._lines: dict[KeyPath, int] | None = None
        self.values = self._parsed(text)

    def _parsed(self, text: str) -> dict[str, Any]:
        if _nesting(self._bare) > DEEPEST_NESTING or _LONG_KEY.search(self._bare):
            raise UnusableCall("is nested too deeply for a bench file", where=self.where, remedy="see 'humcheck new'")
        try:
            return tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            remedy = "write folders in file names with /" if "\\" in str(error) else "see the TOML format"
            raise UnusableCall(f"is not a TOML file: {error}", where=self.where, remedy=remedy) from error

    def refuse(self, key_path: KeyPath, problem: str, remedy: str) -> NoReturn:
        """Raise `UnusableCall` about one key, with its line."""
        raise UnusableCall(f"{self.place(key_path)}: {problem}", where=self.where, remedy=remedy)

    def place(self, key_path: KeyPath) -> str:
        """Return a key and its line as ``takes[2].port (line 14)``; the line of what holds it where it has none."""
        shown = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in key_path).lstrip(".")
        line = self._line(key_path)
        return f"{shown} (line {line})" if line else shown

    def _line(self, key_path: KeyPath) -> int | None:
        if self._lines is None:
            self._lines = _line_numbers(self._bare)
        for length in range(len(key_path), 0, -1):
            if key_path[:length] in self._lines:
                return self._lines[key_path[:length]]
        return None


def read_toml(path: str | os.PathLike[str]) -> TomlText:
    """Read a TOML file.

    Raises
    ------
    UnusableCall
        If it is missing, no regular file, empty, too large, not UTF-8, nested too deeply, or not TOML.
    """
    where = os.fspath(path)
    data = _read(where)
    if not data.strip():
        raise UnusableCall("is empty", where=where, remedy="'humcheck new' writes a bench file to start from")
    if len(data) > LARGEST_BYTES:
        raise UnusableCall("is too large for a bench file", where=where, remedy="give the bench file (bench.toml)")
    try:
        text = data.decode("utf-8-sig")  # some editors put a byte order mark in front
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise UnusableCall(f"line {line} is not UTF-8 text", where=where, remedy="save it as UTF-8") from error
    return TomlText(where, text.replace("\r\n", "\n"))


def _read(where: str) -> bytes:
    try:
        mode = os.stat(where).st_mode
        if stat.S_ISDIR(mode):
            raise UnusableCall("is a folder, not a bench file", where=where, remedy="give the .toml file inside it")
        if not stat.S_ISREG(mode):
            raise UnusableCall("is not a regular file", where=where, remedy="give a bench file (.toml)")
        with open(where, "rb") as file:
            return file.read(LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise UnusableCall(
            "there is no such file", where=where, remedy="check the name, or start with 'humcheck new'"
        ) from error
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise UnusableCall(f"cannot be opened ({reason})", where=where, remedy="check the name") from error


def _blanked(match: re.Match[str]) -> str:
    """Return a comment as nothing and a string as a plain word of as many lines."""
    text = match[0]
    return "" if text.startswith("#") else "_" + "\n" * text.count("\n")


def _nesting(bare: str) -> int:
    depth = deepest = 0
    for bracket in re.findall(r"[\[\]{}]", bare):
        depth = depth + 1 if bracket in "[{" else max(depth - 1, 0)
        deepest = max(deepest, depth)
    return deepest


def _line_numbers(bare: str) -> dict[KeyPath, int]:
    """Return the line of each table and key, and of each table inside an array (``runs``); keys in quotes have none."""
    lines: dict[KeyPath, int] = {}
    counts: dict[KeyPath, int] = {}
    table: KeyPath = ()
    position, number = 0, 1
    while position < len(bare):
        header = _HEADER.match(bare, position)
        assignment = None if header else _ASSIGNMENT.match(bare, position)
        if header is not None:
            table = _parts(header[2])
            if header[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
            lines.setdefault(table, number)
        elif assignment is not None:
            key = (*table, *_parts(assignment[1]))
            lines.setdefault(key, number)
            end = _value_end(bare, assignment.end())
            _add_items(lines, key, bare[assignment.end() : end], number)
            number += bare.count("\n", position, end)
            position = end
        next_line = bare.find("\n", position)
        if next_line < 0:
            break
        position, number = next_line + 1, number + 1
    return lines


def _parts(dotted: str) -> KeyPath:
    return tuple(part.strip() for part in dotted.split("."))


def _value_end(bare: str, start: int) -> int:
    """Return where a value ends: at the first line end outside all brackets."""
    depth = 0
    for match in re.compile(r"[\[\]{}\n]").finditer(bare, start):
        if match[0] == "\n" and depth <= 0:
            return match.start()
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(match[0], 0)
    return len(bare)


def _add_items(lines: dict[KeyPath, int], key: KeyPath, value: str, number: int) -> None:
    """Note the lines of the tables inside an array."""
    depth, index = 0, -1
    for match in re.finditer(r"[\[\]{}\n]", value):
        if match[0] == "\n":
            number += 1
        elif match[0] in "[{":
            depth += 1
            if match[0] == "{" and depth == 2:
                index += 1
                lines.setdefault((*key, index), number)
        else:
            depth -= 1
