"""``humcheck demo``: the whole job on a made-up bench, with no hardware."""

from __future__ import annotations

import argparse

from humcheck.cli.options import add_force_option, add_listening_option


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "demo",
        help="do all of it on a made-up bench, with no hardware",
        description="Write the tracks, play them through three simulated boxes, measure the takes as any user's and "
        "write the reports, with the truth that the simulation used beside the measured values.",
    )
    parser.add_argument("--out", metavar="DIR", default="reports", help="folder to write into (default: %(default)s)")
    parser.add_argument("--seed", type=int, default=1, help="another bench of the same kind (default: %(default)s)")
    parser.add_argument(
        "--device", metavar="NAME", help="only one of its boxes, Alder, Birch or Cedar: a third of the time"
    )
    parser.add_argument("--keep-takes", action="store_true", help="leave the simulated recordings in the folder")
    add_listening_option(parser)
    add_force_option(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Simulate, measure, write."""
    from humcheck.cli.outputs import print_summary
    from humcheck.cli.progress import shown_progress
    from humcheck.errors import printable
    from humcheck.findings.audibility import listening_settings
    from humcheck.pipeline.demo import run_demo

    with shown_progress("making and measuring takes") as progress:
        outcome = run_demo(
            arguments.out,
            seed=arguments.seed,
            force=arguments.force,
            keep_takes=arguments.keep_takes,
            device=arguments.device,
            listening=listening_settings(arguments.listening),
            progress=progress,
        )
    print_summary(outcome.results)
    for path in outcome.written:
        print(f"written: {printable(path)}")
    return 0
