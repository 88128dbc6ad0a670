"""``humcheck clip``: the test track with test pictures, as a video file."""

from __future__ import annotations

import argparse
import sys


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "clip",
        help="write the test track with test pictures as a video file (needs the extra 'video')",
        description="Write one video file in which the whole test track plays while its quiet part is shown black, "
        "white and with coded rows. One playback then tells what the picture does to the sound. The sound is "
        "uncompressed and the picture interlaced; a timetable is written beside it.",
    )
    parser.add_argument(
        "file",
        metavar="FILE",
        help="ends in .mkv, .mov or .avi for players of files, in .mpg or .vob (16 bits) to be put on a video disc",
    )
    parser.add_argument(
        "--fields",
        choices=("50", "59.94"),
        default="50",
        help="fields a second: 50, or 59.94 where the mains is 60 Hz (default %(default)s)",
    )
    parser.add_argument("--force", action="store_true", help="replace files of the same name that are not humcheck's")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the clip, say what was written, return the exit status."""
    from pathlib import Path

    from humcheck.errors import EXIT_DONE, printable
    from humcheck.tracks.clip import write_clip

    if sys.stderr.isatty():
        print(f"writing {printable(args.file)}: this takes a minute", file=sys.stderr)
    path, timetable_path, track = write_clip(Path(args.file), fields=args.fields, force=args.force)
    print(f"Test clip of {track.duration_s:.0f} s, {args.fields} fields, in {printable(path)}; timetable in")
    print(f"{printable(timetable_path)}. What stands on the screen:")
    for shown in track.pictures:
        print(f"  {shown.start_s:6.2f} to {shown.end_s:6.2f} s  {shown.name}")
    print("Play it without a menu on top, and record its sound like that of any track. Start at low volume.")
    print("Do not let a player or disc maker convert the sound: it must stay uncompressed (PCM). The rows can be")
    print("unpleasant or harmful to look at for people with photosensitive epilepsy; the screen may be covered.")
    return EXIT_DONE
