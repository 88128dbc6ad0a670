"""The parser of the command line: what it refuses it tells in one line, with what to do."""

from __future__ import annotations

import argparse
import re
from typing import NoReturn

from humcheck.errors import EXIT_UNUSABLE, printable

_CHOICE = re.compile(r"(?:argument (?P<name>[^:]+): )?invalid choice: (?P<value>.+) \(choose from (?P<choices>.+)\)")
_MISSING = re.compile(r"the following arguments are required: (?P<names>.+)")
_EXPECTED = re.compile(r"argument (?P<name>[^:]+): expected (?:one argument|at least one argument|\d+ arguments)")
_UNKNOWN = re.compile(r"unrecognized arguments: (?P<rest>.+)", re.DOTALL)
_ARGUMENT = re.compile(r"^argument (?P<name>[^:]+): ")
_TAKES = "takes made without the device come after --direct, takes made through it after --through"
#: What to do where something is missing, or is not understood; elsewhere the help says more.
_REMEDIES = {
    "humcheck": "begin with: humcheck demo; or see all commands: humcheck help",
    "humcheck bench": "name a bench file, such as: humcheck bench show/bench.toml",
    "humcheck calibrate": "name the recorded tone and what the meter read: humcheck calibrate tone.wav --volts 0.775",
    "humcheck clip": "name the video file to write, such as: humcheck clip clip.mkv",
    "humcheck compare": _TAKES,
    "humcheck inspect": "name one or more recordings, such as: humcheck inspect direct-1.wav",
    "humcheck new": "name one folder to make, such as: humcheck new show",
    "humcheck report": "name saved results, such as: humcheck report alder.json",
}


class Parser(argparse.ArgumentParser):
    """A parser of one command, or of them all."""

    def error(self, message: str) -> NoReturn:
        """Tell in one line what is wrong, and end with the status of a call that cannot be used."""
        remedy = f"see: {self.prog} --help"
        if _CHOICE.fullmatch(message) is None and _ARGUMENT.match(message) is None:
            remedy = _REMEDIES.get(self.prog, remedy)
        self.exit(EXIT_UNUSABLE, f"{self.prog}: {printable(in_plain_words(message, self))}; {remedy}\n")

    def commands(self) -> dict[str, Parser]:
        """Return the parsers of the commands by name."""
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                return dict(action.choices)
        return {}


def parse(parser: Parser, argv: list[str]) -> argparse.Namespace:
    """Return the arguments; what a command does not understand is that command's to tell.

    ``help`` and ``help COMMAND`` are the same as ``--help`` and ``COMMAND --help``.
    """
    if argv[:1] == ["help"]:
        argv = [*argv[1:2], "--help"]
    arguments, rest = parser.parse_known_args(argv)
    if rest:
        parser.commands().get(arguments.command, parser).error(f"unrecognized arguments: {rest[0]}")
    return arguments


def in_plain_words(message: str, parser: Parser) -> str:
    """Return argparse's message as a person would say it; what is not known here stays as it is."""
    if found := _MISSING.fullmatch(message):
        return f"{found['names']} is missing" if "," not in found["names"] else f"these are missing: {found['names']}"
    if found := _UNKNOWN.fullmatch(message):
        return f"'{found['rest']}' is not understood here"
    if found := _EXPECTED.fullmatch(message):
        return f"what belongs to {found['name']} is missing"
    if found := _CHOICE.fullmatch(message):
        value = found["value"].strip("'\"")
        if found["name"] == "COMMAND":
            return f"there is no command '{value}'{_meant(value, list(parser.commands()))}"
        return f"{found['name']}: '{value}' is none of {found['choices'].replace(chr(39), '')}"
    return _ARGUMENT.sub(r"\g<name>: ", message)


def _meant(value: str, known: list[str]) -> str:
    from difflib import get_close_matches

    close = get_close_matches(value.lower(), known, n=1)
    return f" (did you mean {close[0]}?)" if close else ""
