"""The command line. Only argparse is imported here; each command loads what it needs when it runs."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from humcheck.errors import EXIT_UNUSABLE, HumcheckError, printable

_COMMANDS = ("tracks", "new", "clip", "record", "inspect", "compare", "bench", "calibrate", "demo", "report")


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with all its commands."""
    from importlib import import_module

    parser = argparse.ArgumentParser(
        prog="humcheck",
        description="Measure what a box, lead or adapter does to the sound that passes through it: hum, picture buzz, "
        "hiss, level, tone, bleed and distortion, always beside a direct recording.",
        epilog="Start with 'humcheck demo', which needs no hardware.",
    )
    parser.add_argument("--version", action="store_true", help="print the versions that a report should name")
    parser.add_argument(
        "--completion",
        choices=("bash", "zsh", "fish", "tcsh"),
        help="print what makes that shell complete commands, options and file names",
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for name in _COMMANDS:
        import_module(f"humcheck.cli.{name}").add_parser(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return the exit status."""
    _one_thread_for_linear_algebra()
    parser = build_parser()
    arguments = parser.parse_args(argv)
    if arguments.version:
        from humcheck.cli.version import print_versions

        return print_versions()
    if arguments.completion is not None:
        from humcheck.cli.completion import print_completion

        return print_completion(parser, arguments.completion)
    if arguments.command is None:
        parser.print_usage(sys.stderr)
        return EXIT_UNUSABLE
    return _run(arguments)


def _one_thread_for_linear_algebra() -> None:
    """Keep the many small matrix products from fighting over the cores: takes are measured side by side instead.

    The libraries read this when numpy is first imported, here and in the worker processes; what a user set is kept.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _run(arguments: argparse.Namespace) -> int:
    try:
        status = arguments.run(arguments)
        sys.stdout.flush()
    except HumcheckError as error:
        print(f"humcheck: {error.sentence()}", file=sys.stderr)
        return error.exit_status
    except KeyboardInterrupt:
        print("humcheck: stopped; nothing half-written is left behind", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output went away (`humcheck inspect ... | head`): not an error of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except MemoryError:
        print("humcheck: there is not enough memory; close other programs or give fewer takes", file=sys.stderr)
        return EXIT_UNUSABLE
    except OSError as error:
        place = "" if error.filename is None else f"{printable(error.filename)}: "
        print(f"humcheck: {place}{printable(error.strerror or error)}", file=sys.stderr)
        return EXIT_UNUSABLE
    return int(status)
