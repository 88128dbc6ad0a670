"""``humcheck --completion SHELL``: what a shell needs to complete commands and options."""

from __future__ import annotations

import argparse
import sys


def print_completion(parser: argparse.ArgumentParser, shell: str) -> int:
    """Print a shell's completion of all commands, options and file names; return the exit status.

    Parameters
    ----------
    parser : argparse.ArgumentParser
        With all commands.
    shell : str
        Such as ``"bash"``.
    """
    import shtab

    for command in (parser, *_commands(parser)):
        for action in command._actions:
            if action.metavar is not None and _names_a_file(action.metavar):
                action.complete = shtab.FILE  # type: ignore[attr-defined]
    sys.stdout.write(shtab.complete(parser, shell=shell))
    return 0


def _commands(parser: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    """Return the parsers of the commands."""
    return [
        command
        for action in parser._actions
        if isinstance(action, argparse._SubParsersAction)
        for command in action.choices.values()
    ]


def _names_a_file(metavar: str | tuple[str, ...]) -> bool:
    words = metavar if isinstance(metavar, tuple) else (metavar,)
    return any("TAKE" in word or "FILE" in word or "." in word or word == "DIR" for word in words)
