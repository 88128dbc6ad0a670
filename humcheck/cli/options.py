"""Options that several commands share."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from humcheck.pipeline.settings import MeasuringSettings


def add_measuring_options(parser: argparse.ArgumentParser) -> None:
    """Add what decides the numbers: mains region, calibration and ways of listening."""
    parser.add_argument(
        "--mains",
        choices=("50", "60", "auto"),
        default="auto",
        help="mains frequency of the region in Hz (default: %(default)s, decided from the takes)",
    )
    parser.add_argument(
        "--volts-at-full-scale",
        type=positive_number,
        metavar="V",
        help="RMS volts of a sine that reads 0 dBFS, if the recorder was calibrated",
    )
    for name, whose in (("--source-ohms", "output of the source"), ("--load-ohms", "input of the recorder")):
        parser.add_argument(
            name,
            type=positive_number,
            metavar="OHM",
            help=f"resistance of the {whose}; with the other one and --volts-at-full-scale the picture's leak is given "
            "in picofarads",
        )
    add_listening_option(parser)


def add_listening_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--listening``."""
    parser.add_argument(
        "--listening",
        action="append",
        metavar="NAME[=SPL]",
        help="way of listening for which audibility is predicted: headphones or living-room, if need be with the sound "
        "pressure level in dB that a full-scale sine stands for, such as headphones=105; may be repeated "
        "(default: each of them)",
    )


def add_jobs_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--jobs``."""
    parser.add_argument(
        "--jobs", type=positive_count, metavar="N", help="takes measured at a time (default: one for each core)"
    )


def add_output_options(parser: argparse.ArgumentParser) -> None:
    """Add where results go."""
    parser.add_argument("--json", metavar="FILE", help="also write the results file ('-': to standard output)")
    add_force_option(parser)


def add_figures_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--figures``."""
    parser.add_argument(
        "--figures",
        metavar="DIR",
        help="also write a folder for publishing: pictures for a video, texts for a post, tables as CSV, excerpts, and "
        "a sheet for each unit where limits are set",
    )


def add_force_option(parser: argparse.ArgumentParser) -> None:
    """Add ``--force``."""
    parser.add_argument("--force", action="store_true", help="replace existing files that humcheck did not write")


def positive_number(text: str) -> float:
    """Return a finite number above zero, for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        hint = "; write its decimals after a point" if "," in text else ""
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above zero{hint}")
    return value


def positive_count(text: str) -> int:
    """Return a whole number above zero, for argparse."""
    if not (text.isascii() and text.isdigit() and int(text) > 0):
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number above zero")
    return int(text)


def measuring_settings(arguments: argparse.Namespace) -> MeasuringSettings:
    """Return what the user set.

    Raises
    ------
    UnusableCall
        If a way of listening is unknown.
    """
    from humcheck.findings.audibility import listening_settings
    from humcheck.pipeline.settings import MeasuringSettings

    return MeasuringSettings(
        mains_hz=mains_hz(arguments),
        volts_at_full_scale=arguments.volts_at_full_scale,
        source_ohms=arguments.source_ohms,
        load_ohms=arguments.load_ohms,
        listening=listening_settings(arguments.listening),
    )


def mains_hz(arguments: argparse.Namespace) -> float | None:
    """Return the mains frequency asked for, None where the takes decide."""
    return None if arguments.mains == "auto" else float(arguments.mains)
