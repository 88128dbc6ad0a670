"""Rows of a recording that holds no track: hum and noise of its quiet stretches, and hum under what plays."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from humcheck.comparison.material import QuietPart
from humcheck.errors import MeasurementError
from humcheck.results import Key, NotMeasured
from humcheck.takes.take import Take

#: What needs a stretch in which nothing plays.
_NEED_QUIET = (
    "buzz_level",
    "whistle_level",
    "digital_level",
    "other_lines_level",
    "hiss_level",
    "noise_level",
    "noise_spectrum",
    "hiss_spectrum",
)


def recording_rows(take: Take, key: Key, mains_hz: float | None) -> tuple[list[Any], QuietPart | None]:
    """Measure hum and noise of a take that holds no track.

    Parameters
    ----------
    take : Take
        The take.
    key : Key
        What it belongs to.
    mains_hz : float or None
        Nominal mains frequency, if the user gave it.

    Returns
    -------
    rows : list
        Measures, lines, curves, and reasons why not.
    part : QuietPart or None
        The quiet stretch, if there is one.
    """
    from humcheck.analyzers.hum import hum_rows
    from humcheck.analyzers.peak import peak_rows
    from humcheck.estimates.recording_lines import read_recording

    try:
        reading = read_recording(take.file, mains_hz=mains_hz)
    except MeasurementError as error:
        names = ("hum_level", *_NEED_QUIET)
        return [NotMeasured(**key.fields(quantity=name), reason=error.reason) for name in names], None
    stretch, alone = reading.stretch, reading.stretch_lines
    if stretch is None or alone is None:
        reasons = [NotMeasured(**key.fields(quantity=name), reason=reading.reason) for name in _NEED_QUIET]
        loudest = peak_rows(take.survey.peak, key, take.channels)
        return [*hum_rows(reading.lines, key, take.channels), *loudest, *reasons], None
    part = QuietPart(path=take.file.path, start=stretch.start, stop=stretch.stop, swapped=False, lines=alone)
    rows = [*_line_rows(reading.lines, take, key), *_noise_rows(part, take, key)]
    if not stretch.covers_all:
        rows += peak_rows(take.survey.peak, key, take.channels)
    return rows, part


def _line_rows(lines: Any, take: Take, key: Key) -> Iterator[Any]:
    from humcheck.analyzers.buzz import buzz_rows
    from humcheck.analyzers.hum import hum_rows
    from humcheck.analyzers.steady_lines import steady_line_rows
    from humcheck.analyzers.whistle import whistle_rows

    for analyze in (hum_rows, buzz_rows, whistle_rows, steady_line_rows):
        yield from analyze(lines, key, take.channels)


def _noise_rows(part: QuietPart, take: Take, key: Key) -> Iterator[Any]:
    """Yield the noise of the quiet stretch, or the reason why it is too short for that."""
    from humcheck.analyzers.noise import noise_rows
    from humcheck.estimates.noise import measure_noise

    samples = take.file.read(part.start, part.stop)
    try:
        yield from noise_rows(measure_noise(samples, take.rate_hz, part.lines), key, take.channels)
    except MeasurementError as error:
        for name in ("hiss_level", "noise_level", "noise_spectrum", "hiss_spectrum"):
            yield NotMeasured(**key.fields(quantity=name), reason=error.reason)
