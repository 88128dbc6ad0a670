"""The picture of a captured video file sought in its own sound."""

from __future__ import annotations

from typing import Any

from humcheck.comparison.material import QuietPart
from humcheck.errors import MeasurementError
from humcheck.results import Key, NotMeasured
from humcheck.takes.take import Take

#: A quiet stretch that is shorter tells no share.
_SHORTEST_QUIET_S = 2.0


def footage_rows_of(take: Take, key: Key, part: QuietPart | None) -> list[Any]:
    """Return how the sound follows the picture; nothing for a file without one, or whose sound is a track."""
    from humcheck.audio.containers import container_name

    path = take.file.path
    if take.has_track or key.role != "single" or container_name(path) is None:
        return []
    from humcheck.analyzers.footage import COUPLING, footage_rows
    from humcheck.estimates.footage import find_footage
    from humcheck.video.brightness import read_brightness

    rate_hz = float(take.rate_hz)
    start, stop = _stretch(take, part)
    try:
        shown = read_brightness(path, longest_s=stop / rate_hz + 1.0)
        sound = take.file.read(start, stop)
        quiet = _quiet(part, start, stop, rate_hz)
        estimate = find_footage(sound, rate_hz, shown.rows, shown.times_s - start / rate_hz, quiet)
    except MeasurementError as error:
        return [NotMeasured(**key.fields(quantity=COUPLING), reason=error.reason)]
    quiet_s = None if quiet is None else (quiet.start / rate_hz, quiet.stop / rate_hz)
    return footage_rows(estimate, key, take.channels, start_s=start / rate_hz, quiet_s=quiet_s)


def _stretch(take: Take, part: QuietPart | None) -> tuple[int, int]:
    """Return the samples that are looked at: about the quiet part, since it tells most."""
    from humcheck.estimates.footage import LONGEST_S

    longest = int(LONGEST_S * take.rate_hz)
    middle = 0 if part is None else (part.start + part.stop) // 2
    start = max(0, min(middle - longest // 2, take.file.n_samples - longest))
    return start, min(start + longest, take.file.n_samples)


def _quiet(part: QuietPart | None, start: int, stop: int, rate_hz: float) -> Any:
    from humcheck.estimates.footage import QuietStretch

    if part is None:
        return None
    first, last = max(part.start, start) - start, min(part.stop, stop) - start
    if last - first < _SHORTEST_QUIET_S * rate_hz:
        return None
    mains = part.lines.of_kind("mains")
    return QuietStretch(start=first, stop=last, mains_hz=mains[0].fundamental_hz if mains else None)
