"""``humcheck new``: a folder for a new bench."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from humcheck.cli.options import add_force_option

if TYPE_CHECKING:
    from humcheck.benches.run_order import BenchPlan

_DESCRIPTION = """\
Start a bench: write a folder with a bench file (bench.toml), a run order and a checklist to print, the test tracks and
the test pictures. The run order names every take to make and costs it in minutes; recordings saved under its names are
those that the bench file names."""
_MOST = {"devices": 20, "ports": 64, "pictures": 10, "fixes": 10}
_MOST_TAKES = 20
_LONGEST_LABEL = 80


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "new", help="start a bench: bench file, run order, checklist, tracks", description=_DESCRIPTION
    )
    parser.add_argument("folder", metavar="DIR", help="folder to write, made if missing")
    parser.add_argument(
        "--devices",
        metavar="NAME,...",
        default="Box",
        help="what is under test, such as Alder,Birch (default %(default)s)",
    )
    parser.add_argument(
        "--ports",
        metavar="N",
        default="1",
        help="how many ports each has, or their names, the one farthest from the output last (default %(default)s)",
    )
    parser.add_argument(
        "--pictures",
        metavar="NAME,...",
        default="white,black",
        help="pictures to show; the first one stands while the full track plays (default %(default)s)",
    )
    parser.add_argument("--supply", action="store_true", help="also measure with the device's supply unplugged")
    parser.add_argument(
        "--fixes", metavar="NAME,...", default="", help="cures to try, each put in for a short quiet take"
    )
    parser.add_argument(
        "--takes",
        metavar="N",
        type=int,
        default=3,
        help="repeats, direct and on the farthest port (default %(default)s)",
    )
    parser.add_argument(
        "--length",
        choices=("short", "standard", "long"),
        default="standard",
        help="of the tracks (default %(default)s)",
    )
    parser.add_argument("--no-tracks", action="store_true", help="leave the test tracks and pictures out")
    add_force_option(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the folder, say what it holds and what the plan costs, return the exit status."""
    from pathlib import Path

    from humcheck.benches.new import BENCH_NAME, CHECKLIST_NAME, RUN_ORDER_NAME, TRACKS_FOLDER, write_new_bench
    from humcheck.benches.papers import cost_sentence
    from humcheck.errors import EXIT_DONE, printable

    plan, folder = plan_of(args), Path(args.folder)

    def say(path: Path) -> None:
        if sys.stderr.isatty():
            print(f"writing {printable(path)}", file=sys.stderr)

    write_new_bench(folder, plan, tracks=not args.no_tracks, force=args.force, on_file=say)
    print(f"A new bench in {printable(folder)}:")
    print(f"  {CHECKLIST_NAME:14s} read it first, and print it")
    print(f"  {RUN_ORDER_NAME:14s} which take to make when, and what to call it")
    print(f"  {BENCH_NAME:14s} names the same takes; change both as you like")
    if not args.no_tracks:
        print(f"  {TRACKS_FOLDER + '/':14s} the tracks to play and the pictures to show. Start at low volume.")
    print(cost_sentence(plan))
    print(f"When the takes are recorded: humcheck bench {printable(folder / BENCH_NAME)}")
    return EXIT_DONE


def plan_of(args: argparse.Namespace) -> BenchPlan:
    """Return what the user wants to compare.

    Raises
    ------
    UnusableCall
        If a name is missing, unusable, or there twice.
    """
    from humcheck.benches.run_order import BenchPlan
    from humcheck.errors import UnusableCall

    if not 1 <= args.takes <= _MOST_TAKES:
        raise UnusableCall(f"{args.takes} repeats make no sense", where="--takes", remedy=f"give 1 to {_MOST_TAKES}")
    ports = args.ports
    if ports.strip().isdecimal() and len(ports) < 9:
        if not 1 <= int(ports) <= _MOST["ports"]:
            raise UnusableCall(
                f"{ports} ports are not supported", where="--ports", remedy=f"give 1 to {_MOST['ports']}"
            )
        ports = ",".join(str(number + 1) for number in range(int(ports)))
    return BenchPlan(
        devices=_names("devices", args.devices),
        ports=_names("ports", ports),
        pictures=_names("pictures", args.pictures),
        fixes=_names("fixes", args.fixes) if args.fixes.strip() else (),
        supply=args.supply,
        n_takes=args.takes,
        length=args.length,
    )


def _names(option: str, text: str) -> tuple[str, ...]:
    """Return the names in a list with commas, by the rules of the bench file."""
    import unicodedata

    from humcheck.errors import UnusableCall

    names = [unicodedata.normalize("NFC", name.strip()) for name in text.split(",")]
    where = f"--{option}"
    if len(names) > _MOST[option]:
        raise UnusableCall(f"{len(names)} names are too many", where=where, remedy=f"give at most {_MOST[option]}")
    alike = set()
    for name in names:
        if not name or len(name) > _LONGEST_LABEL or not name.isprintable():
            raise UnusableCall(
                f"{name!r} is no usable name", where=where, remedy="give names of 1 to 80 characters, commas between"
            )
        folded = "".join(name.casefold().split())
        if folded in alike:
            raise UnusableCall(f"{name!r} is there twice", where=where, remedy="give each name once")
        alike.add(folded)
    return tuple(names)
