"""``humcheck bench``: many devices, ports, conditions and fixes, with repeated takes."""

from __future__ import annotations

import argparse

from humcheck.cli.options import add_figures_option, add_jobs_option, add_output_options


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "bench",
        help="measure all takes that a bench file names, and write one report",
        description="Measure all takes that a bench file names, set every use of every device against the direct "
        "takes, and write one report. Takes that were measured before are not measured again; they are kept beside "
        "the bench file. 'humcheck new' writes a bench file to start from.",
    )
    parser.add_argument("bench", metavar="BENCH.toml", help="bench file")
    parser.add_argument("--out", metavar="FILE.html", help="report (default: the bench file's name, ending in .html)")
    add_jobs_option(parser)
    add_figures_option(parser)
    add_output_options(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read, measure, compare, write."""
    import os
    import sys

    from humcheck.cli.outputs import publish, reproduce_command, require_writable
    from humcheck.cli.progress import shown_progress
    from humcheck.errors import EXIT_DONE, EXIT_LIMIT_NOT_MET, printable
    from humcheck.pipeline.bench import bench_files, measure_bench, read_bench

    bench = read_bench(arguments.bench)
    html_path = arguments.out or f"{os.path.splitext(arguments.bench)[0]}.html"
    inputs = [arguments.bench, *bench_files(bench)]
    require_writable(html_path, arguments.json, force=arguments.force, inputs=inputs, figures=arguments.figures)
    with shown_progress("measuring") as progress:
        outcome = measure_bench(bench, n_workers=arguments.jobs, progress=progress, to_hear=True)
    for note in outcome.notes:
        print(f"humcheck: {printable(note)}", file=sys.stderr)
    status = publish(
        outcome.results,
        problems=outcome.problems,
        html_path=html_path,
        json_path=arguments.json,
        force=arguments.force,
        command=reproduce_command(arguments),
        excerpts=outcome.excerpts,
        figures=arguments.figures,
    )
    met = all(limit.outcome == "pass" for limit in outcome.results.limits)
    return EXIT_LIMIT_NOT_MET if status == EXIT_DONE and not met else status
