"""``humcheck compare``: through against direct."""

from __future__ import annotations

import argparse
from typing import Any

from humcheck.cli.options import add_measuring_options, add_output_options


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "compare",
        help="set takes made through a device against direct ones, and write the report",
        description="Set takes made through a device against direct takes. With direct takes only, say what the bench "
        "can resolve before any device is tried.",
    )
    parser.add_argument("--direct", nargs="+", metavar="TAKE", required=True, help="made from source to recorder")
    parser.add_argument("--through", nargs="+", metavar="TAKE", default=[], help="made with the device in between")
    parser.add_argument("--recorder", nargs="+", metavar="TAKE", default=[], help="recorder with its input terminated")
    parser.add_argument("--source-off", nargs="+", metavar="TAKE", default=[], help="source connected but off")
    parser.add_argument("--name", default="device", help="name of the device in the report (default: %(default)s)")
    parser.add_argument("--picture", metavar="LABEL", help="what the display showed meanwhile (black, white, menu...)")
    parser.add_argument(
        "--out", metavar="FILE.html", default="humcheck-report.html", help="report (default: %(default)s)"
    )
    add_measuring_options(parser)
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Measure, compare, write."""
    from humcheck.cli.options import measuring_settings
    from humcheck.cli.outputs import publish, reproduce_command, require_writable
    from humcheck.pipeline.compare import TakeRequest, compare_files

    inputs = [*arguments.direct, *arguments.through, *arguments.recorder, *arguments.source_off]
    require_writable(arguments.out, arguments.json, force=arguments.force, inputs=inputs)
    settings = measuring_settings(arguments)
    shared: dict[str, Any] = {"picture": arguments.picture}
    requests = [
        *(TakeRequest(path=path, role="direct", **shared) for path in arguments.direct),
        *(TakeRequest(path=path, role="through", device=arguments.name, **shared) for path in arguments.through),
        *(TakeRequest(path=path, role="recorder") for path in arguments.recorder),
        *(TakeRequest(path=path, role="source_off") for path in arguments.source_off),
    ]
    outcome = compare_files(requests, settings, bench_name=arguments.name, to_hear=True)
    return publish(
        outcome.results,
        problems=outcome.problems,
        html_path=arguments.out,
        json_path=arguments.json,
        force=arguments.force,
        command=reproduce_command(arguments),
        excerpts=outcome.excerpts,
    )
