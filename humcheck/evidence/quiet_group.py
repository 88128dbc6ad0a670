"""The quiet section of a device's takes beside the direct one, raised alike, and the parts of the loudest of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.files import open_take
from humcheck.audio.levels import Floats, db_to_ratio, power_to_dbfs
from humcheck.comparison.material import MeasuredTake
from humcheck.evidence.encoding import encode
from humcheck.evidence.loudness import common_raise_db, made_louder
from humcheck.evidence.separation import FLANK_S, QuietSound, separate
from humcheck.evidence.sounds import PART_WORDS, Sound, match_words, raise_words, use_words
from humcheck.results import Key

#: Length of an excerpt, its fades included; parts are heard one by one, and need less.
EXCERPT_S = 4.5
_PART_S = 3.5
#: The least that is worth listening to.
_SHORTEST_S = 1.0
#: A part that is weaker than this once it is raised cannot be heard, and is left out.
_HEARD_DBFS = -66.0


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietTake:
    """A take whose quiet section can be heard.

    Attributes
    ----------
    take : MeasuredTake
        Its `quiet` is not None.
    match_db : float or None
        What brings its signal to the direct take's level; 0 for the direct take, None where that is not known.
    """

    take: MeasuredTake
    match_db: float | None


def quiet_sounds(group: str, takes: Sequence[QuietTake]) -> Iterator[Sound]:
    """Yield the excerpts of one group: each take's quiet section, then the parts of the loudest one.

    Parameters
    ----------
    group : str
        What is listened to together.
    takes : sequence of QuietTake
        The direct take, if there is one, then those through the device. Takes too short to be heard are left out.
    """
    read = [(one, heard) for one in takes if (heard := _heard(one)) is not None]
    if not read:
        return
    rate_hz = min(heard.rate_hz for _, heard in read)
    raised_db = common_raise_db([heard.whole for _, heard in read], rate_hz)
    keys = [one.take.key for one, _ in read if one.take.role == "through"]
    for one, heard in read:
        words = f"{_title(one.take, keys)}: the quiet section"
        yield _sound(group, "quiet", one, heard.whole, heard, raised_db, words)
    under_test = [pair for pair in read if pair[0].take.role != "direct"] or read[:1]
    one, heard = max(under_test, key=lambda pair: _level_dbfs(pair[1].whole))
    title = _title(one.take, keys)
    title = title if one.take.role == "single" else title[:1].lower() + title[1:]
    length = int(_PART_S * heard.rate_hz)
    for kind, words in PART_WORDS.items():
        part = heard.parts.get(kind)
        if part is not None and (kind == "hiss" or _level_dbfs(part) + raised_db > _HEARD_DBFS):
            yield _sound(group, kind, one, part[:length], heard, raised_db, f"{words}, {title}")


def _heard(one: QuietTake) -> QuietSound | None:
    """Read the middle of the quiet section and take it apart, brought to the direct take's level."""
    quiet = one.take.quiet
    if quiet is None:
        return None
    file = open_take(quiet.path)
    wanted = min(int((EXCERPT_S + 2 * FLANK_S) * file.rate_hz), quiet.stop - quiet.start)
    if wanted < _SHORTEST_S * file.rate_hz:
        return None
    start = (quiet.start + quiet.stop - wanted) // 2
    samples = file.read(start, start + wanted)
    if quiet.swapped:
        samples = samples[:, ::-1]
    sound = separate(samples, file.rate_hz, quiet.lines, start_s=(start - quiet.start) / file.rate_hz)
    factor = db_to_ratio(one.match_db or 0.0)
    return QuietSound(
        rate_hz=sound.rate_hz,
        whole=sound.whole * factor,
        parts={kind: part * factor for kind, part in sound.parts.items()},
    )


def _sound(
    group: str, kind: str, one: QuietTake, samples: Floats, heard: QuietSound, raised_db: int, words: str
) -> Sound:
    louder, limited = made_louder(samples, heard.rate_hz, raised_db)
    hiss_rms = float(np.sqrt(np.mean(heard.parts["hiss"] ** 2, axis=0)).min()) * db_to_ratio(raised_db)
    matched = match_words(one.match_db, one.take.role) if kind == "quiet" else ""
    caption = f"{words}, {raise_words(raised_db)}{matched}."
    return Sound(
        group=group,
        kind=kind,
        role=one.take.role,
        key=one.take.key,
        caption=caption + (" Its loudest moments are turned down." if limited else ""),
        raised_db=float(raised_db),
        level_dbfs=_level_dbfs(samples) + raised_db,
        content=encode(louder, heard.rate_hz, hiss_rms=hiss_rms if kind in ("quiet", "hiss") else 0.0),
    )


def _title(take: MeasuredTake, keys: Sequence[Key]) -> str:
    if take.role == "direct":
        return "Direct"
    if take.role != "through":
        return take.row.file
    words = use_words(take.key, keys)
    return f"Through {take.key.subject}" + (f" ({words})" if words else "")


def _level_dbfs(samples: Floats) -> float:
    return power_to_dbfs(float(np.mean(samples**2)))
