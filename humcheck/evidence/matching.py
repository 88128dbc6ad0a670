"""Which takes are listened to together, and what brings a through take to the direct one's level."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from humcheck.comparison.material import MeasuredTake
from humcheck.evidence.quiet_group import QuietTake

#: More ways of using one device are not played: readers would not find their way. Of several devices fewer fit a page.
MOST_USES = 3
MOST_USES_OF_SEVERAL = 2
#: A device that changes the level by more than this passes no sound to match by.
_LARGEST_MATCH_DB = 40.0


def quiet_group(
    takes: Sequence[MeasuredTake],
    directs: Sequence[MeasuredTake],
    gains_db: Mapping[str, float],
    most_uses: int = MOST_USES,
) -> tuple[list[QuietTake], str]:
    """Return what is heard of one device: the direct take that fits best, then the first take of some uses.

    The noisiest use comes first, then those that differ from it in one thing alone, the quietest of them first: what a
    cure, another picture or another port makes of the same noise.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes through the device.
    directs : sequence of MeasuredTake
        All direct takes of the bench.
    gains_db : mapping of str to float
        Through re direct of takes that hold no track, as far as known, by the take's id.
    most_uses : int
        Ways of using the device that are heard.

    Returns
    -------
    takes : list of QuietTake
    note : str
        What is left out, empty where nothing is.
    """
    uses: dict[tuple[Any, ...], MeasuredTake] = {}
    for take in takes:
        if take.quiet is not None:
            uses.setdefault(take.key.identity(), take)
    heard = _noisiest_and_its_like(list(uses.values()))[:most_uses]
    if not heard:
        return [], ""
    direct = _best_direct(heard[0], directs)
    group = [] if direct is None else [QuietTake(take=direct, match_db=0.0)]
    group += [QuietTake(take=take, match_db=_match_db(take, direct, gains_db)) for take in heard]
    left_out = len(uses) - len(heard)
    return group, _left_out_words(left_out)


def _noisiest_and_its_like(takes: Sequence[MeasuredTake]) -> list[MeasuredTake]:
    if len(takes) < 3:
        return list(takes)
    noisiest = max(takes, key=_noise_dbfs)

    def unlike(take: MeasuredTake) -> tuple[bool, bool, float]:
        own, other = noisiest.key, take.key
        differs = [
            own.fix != other.fix, own.picture != other.picture, own.condition != other.condition, own.port != other.port
        ]  # fmt: skip
        return sum(differs) > 1, differs[-1], _noise_dbfs(take)

    return [noisiest, *sorted((take for take in takes if take is not noisiest), key=unlike)]


def _noise_dbfs(take: MeasuredTake) -> float:
    """Return the A-weighted noise of a take's noisiest channel."""
    return max((row.value for row in take.measures if row.quantity == "noise_level_a"), default=-math.inf)


def _left_out_words(number: int) -> str:
    if number < 1:
        return ""
    if number == 1:
        return "1 more way of using it was measured but is not played here."
    return f"{number} more ways of using it were measured but are not played here."


def _best_direct(take: MeasuredTake, directs: Sequence[MeasuredTake]) -> MeasuredTake | None:
    """Return the direct take with the same picture and conditions, as far as there is one, and a tone to match by."""
    usable = [one for one in directs if one.quiet is not None]
    if not usable:
        return None
    return min(
        usable,
        key=lambda one: (
            one.key.picture != take.key.picture,
            one.key.condition != take.key.condition,
            full_scale_dbfs(one) is None,
        ),
    )


def _match_db(take: MeasuredTake, direct: MeasuredTake | None, gains_db: Mapping[str, float]) -> float | None:
    if direct is not None and take.row.id in gains_db:
        return -gains_db[take.row.id]
    own, reference = full_scale_dbfs(take), None if direct is None else full_scale_dbfs(direct)
    if own is None or reference is None or abs(reference - own) > _LARGEST_MATCH_DB:
        return None
    return reference - own


def full_scale_dbfs(take: MeasuredTake) -> float | None:
    """Return the level at which the track's full scale arrives at 997 Hz, power mean of the channels; None if unknown.

    One figure for both channels, as one volume control would set them: a balance that is off stays to be heard.
    """
    levels = {} if take.tones is None else take.tones.full_scale_dbfs
    single = [level for channel, level in levels.items() if channel != "both"]
    if not single:
        return None
    return 10.0 * math.log10(sum(10.0 ** (level / 10.0) for level in single) / len(single))
