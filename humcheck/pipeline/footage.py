"""The picture of a captured video file sought in its own sound."""

from __future__ import annotations

from typing import Any

from humcheck.errors import MeasurementError
from humcheck.results import Key, NotMeasured
from humcheck.takes.take import Take


def footage_rows_of(take: Take, key: Key) -> list[Any]:
    """Return how the sound follows the picture; nothing for a file without one, or whose sound is a track."""
    from humcheck.audio.containers import container_name

    path = take.file.path
    if take.has_track or key.role != "single" or container_name(path) is None:
        return []
    from humcheck.analyzers.footage import COUPLING, footage_rows
    from humcheck.estimates.footage import LONGEST_S, find_footage
    from humcheck.video.brightness import read_brightness

    try:
        shown = read_brightness(path, longest_s=LONGEST_S + 1.0)
        sound = take.file.read(0, min(take.file.n_samples, int(LONGEST_S * take.rate_hz)))
        estimate = find_footage(sound, float(take.rate_hz), shown.rows, shown.times_s)
    except MeasurementError as error:
        return [NotMeasured(**key.fields(quantity=COUPLING), reason=error.reason)]
    return footage_rows(estimate, key, take.channels)
