"""The picture of a captured video file sought in the quiet part of its own sound."""

from __future__ import annotations

from typing import Any

from humcheck.comparison.material import QuietPart
from humcheck.errors import MeasurementError
from humcheck.results import Key, NotMeasured
from humcheck.takes.take import Take


def footage_rows_of(take: Take, key: Key, part: QuietPart | None) -> list[Any]:
    """Return how the sound follows the picture; nothing for a file without one, or whose sound is a track.

    Under music the place of the picture is ambiguous by a field, and its level with it: only quiet is read.
    """
    from humcheck.audio.containers import container_name

    path = take.file.path
    if take.has_track or key.role != "single" or container_name(path) is None:
        return []
    from humcheck.analyzers.footage import COUPLING, footage_rows
    from humcheck.estimates.footage import LONGEST_S, find_footage
    from humcheck.video.brightness import read_brightness

    try:
        if part is None:
            raise MeasurementError("Something plays all through this recording: the picture cannot be sought under it.")
        stop = min(part.stop, part.start + int(LONGEST_S * take.rate_hz))
        start_s = part.start / take.rate_hz
        shown = read_brightness(path, longest_s=stop / take.rate_hz + 1.0)
        sound = take.file.read(part.start, stop)
        estimate = find_footage(sound, float(take.rate_hz), shown.rows, shown.times_s - start_s)
    except MeasurementError as error:
        return [NotMeasured(**key.fields(quantity=COUPLING), reason=error.reason)]
    return footage_rows(estimate, key, take.channels)
