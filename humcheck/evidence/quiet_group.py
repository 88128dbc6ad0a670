"""The quiet section of a device's takes beside the direct one, raised alike, and the parts of the loudest of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.files import open_take
from humcheck.audio.levels import Floats, db_to_ratio, power_to_dbfs
from humcheck.comparison.material import MeasuredTake
from humcheck.estimates.lines import LineEstimate
from humcheck.evidence.encoding import encode
from humcheck.evidence.loudness import common_raise_db, made_louder
from humcheck.evidence.separation import FLANK_S, QuietStretch
from humcheck.evidence.sounds import LIMITED_WORDS, PART_WORDS, Sound, match_words, raise_words, use_words
from humcheck.results import Key

#: Length of an excerpt, its fades included; parts are heard one by one, and need less.
EXCERPT_S = 4.5
_PART_S = 3.5
#: The least that is worth listening to.
_SHORTEST_S = 1.5
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
    read = [heard for one in takes if (heard := _heard(one)) is not None]
    if not read:
        return
    raised_db = common_raise_db([heard.whole for heard in read], read[0].stretch.rate_hz)
    keys = [heard.take.key for heard in read if heard.take.role == "through"]
    for heard in read:
        words = f"{_title(heard.take, keys)}: the quiet section"
        yield _sound(group, "quiet", heard, heard.whole, raised_db, words)
    loudest = max(
        (heard for heard in read if heard.take.role != "direct" or len(read) == 1),
        key=lambda heard: _level_dbfs(heard.whole),
    )
    title = _title(loudest.take, keys)
    title = title if loudest.take.role == "single" else title[:1].lower() + title[1:]
    parts = loudest.parts()
    if set(parts) == {"hiss"}:  # nothing was taken away: it would be the quiet section once more
        return
    for kind, words in PART_WORDS.items():
        part = parts.get(kind)
        if part is not None and (kind == "hiss" or _level_dbfs(part) + raised_db > _HEARD_DBFS):
            yield _sound(group, kind, loudest, part, raised_db, f"{words}, {title}")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard:
    """The middle of a take's quiet section, brought to the direct take's level."""

    take: MeasuredTake
    lines: LineEstimate
    match_db: float | None
    stretch: QuietStretch
    start_s: float
    whole: Floats

    def parts(self) -> dict[str, Floats]:
        length = int(_PART_S * self.stretch.rate_hz)
        factor = db_to_ratio(self.match_db or 0.0)
        return {kind: part[:length] * factor for kind, part in self.stretch.parts(self.lines, self.start_s).items()}


def _heard(one: QuietTake) -> _Heard | None:
    quiet = one.take.quiet
    if quiet is None:
        return None
    file = open_take(quiet.path)
    wanted = min(int((EXCERPT_S + 2 * FLANK_S) * file.rate_hz), quiet.stop - quiet.start)
    if wanted < _SHORTEST_S * file.rate_hz:
        return None
    start = (quiet.start + quiet.stop - wanted) // 2
    samples = file.read(start, start + wanted)
    stretch = QuietStretch(samples[:, ::-1] if quiet.swapped else samples, file.rate_hz)
    return _Heard(
        take=one.take,
        lines=quiet.lines,
        match_db=one.match_db,
        stretch=stretch,
        start_s=(start - quiet.start) / file.rate_hz,
        whole=stretch.whole() * db_to_ratio(one.match_db or 0.0),
    )


def _sound(group: str, kind: str, heard: _Heard, samples: Floats, raised_db: int, words: str) -> Sound:
    rate_hz, role = heard.stretch.rate_hz, heard.take.role
    louder, limited = made_louder(samples, rate_hz, raised_db)
    hiss_rms = float(heard.stretch.hiss_rms.min()) * db_to_ratio(raised_db + (heard.match_db or 0.0))
    matched = match_words(heard.match_db, role) if kind == "quiet" else ""
    return Sound(
        group=group,
        kind=kind,
        role=role,
        key=heard.take.key,
        caption=f"{words}, {raise_words(raised_db)}{matched}." + (LIMITED_WORDS if limited else ""),
        raised_db=float(raised_db),
        level_dbfs=_level_dbfs(samples) + raised_db,
        content=encode(louder, rate_hz, hiss_rms=hiss_rms if kind in ("quiet", "hiss") else 0.0),
        match_db=heard.match_db if role == "through" else None,
        is_limited=limited,
    )


def _title(take: MeasuredTake, keys: Sequence[Key]) -> str:
    if take.role == "direct":
        pictures = {key.picture for key in keys}
        return f"Direct ({take.key.picture} picture)" if take.key.picture and len(pictures) > 1 else "Direct"
    if take.role != "through":
        return take.row.file
    words = use_words(take.key, keys)
    return f"Through {take.key.subject}" + (f" ({words})" if words else "")


def _level_dbfs(samples: Floats) -> float:
    return power_to_dbfs(float(np.mean(samples**2)))
