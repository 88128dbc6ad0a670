"""``humcheck report``: saved results again, without the recordings."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from humcheck.cli.options import add_figures_option, add_force_option, add_listening_option

if TYPE_CHECKING:
    from humcheck.results import Results


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "report",
        help="render saved results again, without the recordings",
        description="Render saved results again. No recording is needed; with --listening, audibility is predicted "
        "anew. Several results files, each of another bench, make one page that compares their devices as far as that "
        "is allowed: through each bench's own direct takes.",
    )
    parser.add_argument("results", metavar="RESULTS.json", nargs="+")
    parser.add_argument(
        "--out", metavar="FILE.html", default="humcheck-report.html", help="report (default: %(default)s)"
    )
    add_figures_option(parser)
    add_listening_option(parser)
    add_force_option(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read, render, write."""
    from humcheck.cli.outputs import require_writable
    from humcheck.errors import UnusableCall

    if arguments.figures is not None and len(arguments.results) > 1:
        raise UnusableCall("--figures is for one results file", remedy="give one, or leave --figures out")
    require_writable(arguments.out, None, force=arguments.force, inputs=arguments.results, figures=arguments.figures)
    read = [_read(path, arguments.listening) for path in arguments.results]
    try:
        return _archive(read, arguments) if len(read) > 1 else _page(read[0], arguments)
    except (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError) as error:
        # The file may come from anybody, and no check knows all that rows can be.
        raise UnusableCall(
            f"no page can be made of it: {type(error).__name__}: {error}",
            where=" or ".join(arguments.results),
            remedy="measure again; if the file is as humcheck wrote it, this is a mistake of humcheck",
        ) from error


def _page(results: Results, arguments: argparse.Namespace) -> int:
    """Write the page of one bench."""
    from humcheck.cli.outputs import publish
    from humcheck.evidence import read_folder

    return publish(
        results,
        sounds=read_folder(results.media, arguments.results[0]),
        html_path=arguments.out,
        json_path=None,
        force=arguments.force,
        figures=arguments.figures,
    )


def _read(path: str, listening: list[str] | None) -> Results:
    from humcheck.pipeline.saved import read_results

    results = read_results(path)
    if listening:
        from humcheck.findings.audibility import listening_settings
        from humcheck.pipeline.audibility import heard_otherwise

        results = heard_otherwise(results, listening_settings(listening))
    return results


def _archive(read: list[Results], arguments: argparse.Namespace) -> int:
    """Write one page of several benches."""
    import sys

    from humcheck.audio.writing import write_whole
    from humcheck.errors import EXIT_DONE, UnusableCall, printable
    from humcheck.report.archive import render_archive, same_bench
    from humcheck.report.terminal import print_results

    twice = same_bench(read)
    if twice is not None:
        raise UnusableCall(
            f"holds the same bench as {printable(arguments.results[twice[0]])}",
            where=arguments.results[twice[1]],
            remedy="give the results of each bench once",
        )
    write_whole(arguments.out, render_archive(read), force=arguments.force)
    for path, results in zip(arguments.results, read, strict=True):
        print(f"{printable(path)}:")
        print_results(results, sys.stdout)
    print(f"written: {printable(arguments.out)}")
    return EXIT_DONE
