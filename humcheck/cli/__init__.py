"""The command line. Only argparse is imported here; each command loads what it needs when it runs."""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from collections.abc import Iterator, Sequence

from humcheck.cli.parsing import Parser, parse
from humcheck.errors import EXIT_UNUSABLE, HumcheckError, printable

_COMMANDS = ("tracks", "new", "clip", "record", "inspect", "compare", "bench", "calibrate", "demo", "report")


def build_parser() -> Parser:
    """Return the parser with all its commands."""
    from importlib import import_module

    parser = Parser(
        prog="humcheck",
        description="Measure what a box, lead or adapter does to the sound that passes through it: hum, picture buzz, "
        "hiss, level, tone, bleed and distortion, always beside a direct recording.",
        epilog="Start with 'humcheck demo', which needs no hardware. What a command takes: humcheck help COMMAND.",
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
    try:
        return _main(argv)
    except KeyboardInterrupt as error:
        print("humcheck: stopped; nothing half-written is left behind", file=sys.stderr)
        return _leave(128 + (error.args[0] if error.args else 2))


def _main(argv: Sequence[str] | None) -> int:
    _one_thread_for_linear_algebra()
    parser = build_parser()
    arguments = parse(parser, list(sys.argv[1:] if argv is None else argv))
    if arguments.version:
        from humcheck.cli.version import print_versions

        return print_versions()
    if arguments.completion is not None:
        from humcheck.cli.completion import print_completion

        return print_completion(parser, arguments.completion)
    if arguments.command is None:
        parser.error("no command is named")
    return _run(arguments)


@contextlib.contextmanager
def _ended_softly() -> Iterator[None]:
    """Tidy up when the system ends this process or its terminal closes, as after Ctrl-C."""
    import signal

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt(number)

    found = {}
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            with contextlib.suppress(ValueError):  # not the main thread: somebody else decides
                found[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in found.items():
            signal.signal(number, handler)


def _leave(status: int) -> int:
    """Return the status, or leave at once where threads still measure: nobody wants what they find."""
    import threading

    workers = sys.modules.get("humcheck.pipeline.workers")
    if workers and any(thread.name.startswith(workers.THREAD_NAME) for thread in threading.enumerate()):
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    return status


def _one_thread_for_linear_algebra() -> None:
    """Keep the many small matrix products from fighting over the cores: takes are measured side by side instead.

    The libraries read this when numpy is first imported, here and in the worker processes; what a user set is kept.
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _run(arguments: argparse.Namespace) -> int:
    try:
        with _ended_softly():
            status = arguments.run(arguments)
        sys.stdout.flush()
    except HumcheckError as error:
        print(f"humcheck: {error.sentence()}", file=sys.stderr)
        return error.exit_status
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
