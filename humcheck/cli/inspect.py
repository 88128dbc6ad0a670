"""``humcheck inspect``: is a recording fit to be used, and what hum and buzz is in it."""

from __future__ import annotations

import argparse

from humcheck.cli.options import add_jobs_option, add_measuring_options, add_output_options
from humcheck.errors import storable


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "inspect",
        help="say of recordings whether they are fit to be used, and what hum and buzz is in them",
        description="Say of each recording whether it is fit to be used, which track it holds, and what hum, buzz and "
        "hiss is in it.",
    )
    parser.add_argument("takes", nargs="+", metavar="TAKE")
    parser.add_argument("--picture", type=storable, metavar="LABEL", help="what the display showed meanwhile")
    parser.add_argument("--out", metavar="FILE.html", help="also write a report")
    add_measuring_options(parser)
    add_jobs_option(parser)
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Measure each take alone and print what was found."""
    from humcheck.cli.options import measuring_settings
    from humcheck.cli.outputs import publish, reproduce_command, require_writable
    from humcheck.cli.progress import shown_progress
    from humcheck.pipeline.compare import TakeRequest, inspect_files

    require_writable(arguments.out, arguments.json, force=arguments.force, inputs=arguments.takes)
    settings = measuring_settings(arguments)
    requests = [TakeRequest(path=path, role="single", picture=arguments.picture) for path in arguments.takes]
    to_hear = arguments.out is not None or arguments.json not in (None, "-")
    with shown_progress("measuring") as progress:
        outcome = inspect_files(requests, settings, to_hear=to_hear, n_workers=arguments.jobs, progress=progress)
    return publish(
        outcome.results,
        problems=outcome.problems,
        html_path=arguments.out,
        json_path=arguments.json,
        force=arguments.force,
        command=reproduce_command(arguments),
        excerpts=outcome.excerpts,
    )
