"""``humcheck report``: saved results again, without the recordings."""

from __future__ import annotations

import argparse

from humcheck.cli.options import add_force_option, add_listening_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "report",
        help="render saved results again, without the recordings",
        description="Render a saved results file again. No recording is needed; with --listening, audibility is "
        "predicted anew.",
    )
    parser.add_argument("results", metavar="RESULTS.json")
    parser.add_argument(
        "--out", metavar="FILE.html", default="humcheck-report.html", help="report (default: %(default)s)"
    )
    add_listening_option(parser)
    add_force_option(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read, render, write."""
    from humcheck.cli.outputs import publish, require_writable
    from humcheck.evidence import read_folder
    from humcheck.pipeline.saved import read_results

    require_writable(arguments.out, None, force=arguments.force, inputs=[arguments.results])
    results = read_results(arguments.results)
    if arguments.listening:
        from humcheck.findings.audibility import listening_settings
        from humcheck.pipeline.audibility import heard_otherwise

        results = heard_otherwise(results, listening_settings(arguments.listening))
    return publish(
        results,
        sounds=read_folder(results.media, arguments.results),
        html_path=arguments.out,
        json_path=None,
        force=arguments.force,
    )
