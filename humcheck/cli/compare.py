"""``humcheck compare``: through against direct."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from humcheck.cli.options import add_figures_option, add_jobs_option, add_measuring_options, add_output_options
from humcheck.errors import storable


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
    parser.add_argument(
        "--name", type=storable, default="Device", help="name of the device in the report (default: %(default)s)"
    )
    parser.add_argument(
        "--picture",
        type=storable,
        nargs="+",
        metavar="LABEL",
        default=[],
        help="what the display showed meanwhile (black, white, rows, menu...): one label for all takes, or one for "
        "each direct and then each through take; pictures are set against black where there is a black one",
    )
    parser.add_argument(
        "--out", metavar="FILE.html", default="humcheck-report.html", help="report (default: %(default)s)"
    )
    add_measuring_options(parser)
    add_jobs_option(parser)
    add_figures_option(parser)
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Measure, compare, write."""
    from humcheck.cli.options import measuring_settings
    from humcheck.cli.outputs import publish, reproduce_command, require_writable
    from humcheck.cli.progress import shown_progress
    from humcheck.pipeline.compare import TakeRequest, compare_files

    inputs = [*arguments.direct, *arguments.through, *arguments.recorder, *arguments.source_off]
    require_writable(arguments.out, arguments.json, force=arguments.force, inputs=inputs, figures=arguments.figures)
    settings = measuring_settings(arguments)
    pictures = _pictures(arguments.picture, len(arguments.direct) + len(arguments.through))
    direct, through = pictures[: len(arguments.direct)], pictures[len(arguments.direct) :]
    shown = [*zip(arguments.direct, direct, strict=True)], [*zip(arguments.through, through, strict=True)]
    requests = [
        *(TakeRequest(path=path, role="direct", picture=picture) for path, picture in shown[0]),
        *(TakeRequest(path=path, role="through", device=arguments.name, picture=picture) for path, picture in shown[1]),
        *(TakeRequest(path=path, role="recorder") for path in arguments.recorder),
        *(TakeRequest(path=path, role="source_off") for path in arguments.source_off),
    ]
    with shown_progress("measuring") as progress:
        outcome = compare_files(
            requests, settings, bench_name=arguments.name, to_hear=True, n_workers=arguments.jobs, progress=progress
        )
    return publish(
        outcome.results,
        problems=outcome.problems,
        html_path=arguments.out,
        json_path=arguments.json,
        force=arguments.force,
        command=reproduce_command(arguments),
        excerpts=outcome.excerpts,
        figures=arguments.figures,
    )


def _pictures(labels: Sequence[str], n_takes: int) -> Sequence[str | None]:
    """Return the picture of each direct and through take."""
    from humcheck.errors import UnusableCall

    if len(labels) <= 1:
        return [labels[0] if labels else None] * n_takes
    if len(labels) != n_takes:
        raise UnusableCall(
            f"--picture has {len(labels)} labels for {n_takes} direct and through takes",
            remedy="give one label for all of them, or one for each",
        )
    return labels
