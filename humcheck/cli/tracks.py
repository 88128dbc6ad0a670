"""``humcheck tracks``: write the test tracks."""

from __future__ import annotations

import argparse
import sys

_DESCRIPTION = """\
Write the test tracks full.wav (everything in one), sweep.wav and silence.wav, a timetable (JSON) beside each, and a
note on how to play them. Play one, record it once directly and once through the box: that is all the tool needs."""


def add_parser(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser("tracks", help="write the test tracks", description=_DESCRIPTION)
    parser.add_argument(
        "--out", metavar="DIR", default="test_signals", help="folder to write to, made if missing (default %(default)s)"
    )
    parser.add_argument(
        "--rate",
        type=int,
        choices=(44100, 48000, 96000),
        default=48000,
        help="sampling rate in Hz; an audio disc wants 44100 (default %(default)s)",
    )
    parser.add_argument(
        "--bits", type=int, choices=(16, 24), default=24, help="bits a sample; an audio disc wants 16 (default 24)"
    )
    parser.add_argument(
        "--length",
        choices=("short", "standard", "long"),
        default="standard",
        help="how long the tracks are: quiet part of 10, 30 or 60 s (default %(default)s)",
    )
    parser.add_argument(
        "--pictures", action="store_true", help="also write test pictures to show meanwhile, and a note on how to"
    )
    parser.add_argument("--force", action="store_true", help="replace files of the same name that are not humcheck's")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the tracks, say what was written, return the exit status."""
    from pathlib import Path

    from humcheck.errors import EXIT_DONE, printable
    from humcheck.tracks.layouts import layout
    from humcheck.tracks.markers import NAMES
    from humcheck.tracks.note import NOTE_NAME
    from humcheck.tracks.pictures_writing import FOLDER_NAME, write_pictures
    from humcheck.tracks.writing import write_tracks

    folder = Path(args.out)

    def say(path: Path) -> None:
        if sys.stderr.isatty():
            print(f"writing {printable(path)}", file=sys.stderr)

    write_tracks(folder, rate_hz=args.rate, bits=args.bits, length=args.length, force=args.force, on_file=say)
    pictures = write_pictures(folder, force=args.force, on_file=say) if args.pictures else ()
    print(f"Test tracks at {args.rate} Hz, {args.bits} bits, in {printable(folder)}:")
    for name in NAMES:
        duration_s = layout(name, args.length).duration_s
        print(f"  {name + '.wav':12s} {duration_s:5.1f} s, timetable in {name}.json")
    print(f"How to play them and set the level: {printable(folder / NOTE_NAME)}. Start at low volume.")
    if pictures:
        print(f"{len(pictures) - 1} test pictures in {printable(folder / FOLDER_NAME)}, with how to show them:")
        print(f"  {printable(pictures[-1])}. Bright still pictures can burn into old screens: read it first.")
    return EXIT_DONE
