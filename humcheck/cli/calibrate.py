"""``humcheck calibrate``: volts at full scale, from a tone that was metered."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from humcheck.cli.options import positive_number

if TYPE_CHECKING:
    from humcheck.pipeline.calibrate import Calibration

_DESCRIPTION = """\
Say how many volts full scale stands for, so that levels can be given in volts. Play a steady tone of 200 to 2000 Hz
(or a test track, which begins with one), with everything connected as for the takes, read the voltage of the line
with an AC meter that is right at that frequency, and record the tone at the level of the takes."""


def add_parser(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to `commands`."""
    parser = commands.add_parser(
        "calibrate", help="say how many volts full scale stands for, from a metered tone", description=_DESCRIPTION
    )
    parser.add_argument("take", metavar="TAKE", help="recording of the tone, or of a test track")
    parser.add_argument(
        "--volts", type=positive_number, required=True, metavar="V", help="RMS volts that the meter read on the line"
    )
    parser.add_argument(
        "--volts-uncertainty",
        type=positive_number,
        metavar="PERCENT",
        help="how far the meter may be off, as its manual says",
    )
    parser.add_argument("--channel", choices=("left", "right"), help="the line that was metered (default: either)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Measure the tone and print what it says, with the lines for a bench file."""
    from humcheck.errors import EXIT_DONE, printable
    from humcheck.pipeline.calibrate import calibrate

    found = calibrate(
        arguments.take,
        arguments.volts,
        volts_percent=arguments.volts_uncertainty,
        channel=arguments.channel,
    )
    print(f"{printable(arguments.take)}: {_tone_words(found)}")
    for index, name in enumerate(found.channels):
        level = f"{found.tone.level_dbfs[index]:.3f} dBFS" if found.tone.carries[index] else "no tone"
        print(f"  {name:6s} {level}")
    print(_volts_words(found))
    _print_warnings(found)
    print("For the bench file:")
    print()
    print("[calibration]")
    print(f"volts_at_full_scale = {found.volts_at_full_scale:.5g}")
    remark = "# " if arguments.volts_uncertainty is None else ""
    print(f"{remark}uncertainty_percent = {_two_digits(max(found.uncertainty_percent, 0.001))}")
    return EXIT_DONE


def _tone_words(found: Calibration) -> str:
    tone = found.tone
    return f"a tone of {tone.frequency_hz:.2f} Hz, read from {tone.start_s:.1f} to {tone.end_s:.1f} s"


def _volts_words(found: Calibration) -> str:
    volts, percent = found.volts_at_full_scale, found.uncertainty_percent
    low, high = volts * (1.0 - percent / 100.0), volts * (1.0 + percent / 100.0)
    parts = ", ".join(f"{name} {_part(part)} %" for name, part in found.parts_percent.items())
    return (
        f"A sine that just reaches full scale (0 dBFS) is {volts:.5g} V RMS ({found.dbv_at_full_scale:+.2f} dBV);\n"
        f"with 95 % certainty {low:.5g} to {high:.5g} V ({_part(percent)} %). Standard uncertainties: {parts}."
    )


def _part(percent: float) -> str:
    return "below 0.001" if percent < 0.001 else _two_digits(percent)


def _two_digits(value: float) -> str:
    return f"{float(f'{value:.2g}'):g}"


def _print_warnings(found: Calibration) -> None:
    import textwrap

    for warning in found.warnings:
        print("\n".join(textwrap.wrap(f"Note: {warning}", 100, subsequent_indent="  ")))
