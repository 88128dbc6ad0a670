"""Options that several commands share."""

from __future__ import annotations

import argparse
import math


def add_measuring_options(parser: argparse.ArgumentParser) -> None:
    """Add what decides the numbers: mains region and calibration."""
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


def add_output_options(parser: argparse.ArgumentParser) -> None:
    """Add where results go."""
    parser.add_argument("--json", metavar="FILE", help="also write the results file ('-': to standard output)")
    add_force_option(parser)


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
        raise argparse.ArgumentTypeError(f"{text!r} is not a number above zero")
    return value


def mains_hz(arguments: argparse.Namespace) -> float | None:
    """Return the mains frequency asked for, None where the takes decide."""
    return None if arguments.mains == "auto" else float(arguments.mains)
