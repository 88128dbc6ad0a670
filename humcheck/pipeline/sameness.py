"""Whether two takes are one recording: a take set against itself shows a box that does nothing, whatever the box."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.comparison.material import MeasuredTake
from humcheck.errors import UnusableCall
from humcheck.pipeline.requests import TakeRequest

#: Noise that is measured alike to this many decimals of a dB is the same noise: chance leaves 0.01 dB and more.
_DECIMALS = 7
#: Below this there is no noise to tell takes apart by.
_NO_NOISE_DBFS = -200.0

Fingerprint = tuple[float, ...]


def require_different_recordings(takes: Sequence[tuple[TakeRequest, MeasuredTake]]) -> None:
    """Raise if one recording stands in two places, even if it was saved again or cut.

    Parameters
    ----------
    takes : sequence of (TakeRequest, MeasuredTake)
        In the order of the call.

    Raises
    ------
    UnusableCall
        Naming both files.

    Notes
    -----
    Files are told apart by their bytes, and sound by the noise in its quiet part: no two recordings have the same.
    """
    seen: dict[str | Fingerprint, TakeRequest] = {}
    for request, take in takes:
        # Runs of one long recording share a file, not a sound.
        of_file = take.row.sha256 if request.run is None else f"{take.row.sha256} {request.run}"
        for mark in (of_file, _noise_fingerprint(take)):
            if mark is None:
                continue
            first = seen.setdefault(mark, request)
            if first is not request:
                raise UnusableCall(
                    f"is the same recording as {first.path}",
                    where=request.path,
                    remedy="give each take once; repeats are separate recordings",
                )


def _noise_fingerprint(take: MeasuredTake) -> Fingerprint | None:
    """Return the noise levels of each channel, None where there is no noise to speak of."""
    levels = {(row.channel, row.quantity): row.value for row in take.measures if row.quantity.startswith("noise_level")}
    if not levels or min(levels.values()) < _NO_NOISE_DBFS:
        return None
    return tuple(round(levels[key], _DECIMALS) for key in sorted(levels))
