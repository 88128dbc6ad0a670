"""Direct and through of the same programme, at one level and in step to a fraction of a sample."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from humcheck.audio.files import open_take
from humcheck.audio.levels import Floats, db_to_ratio, power_to_dbfs
from humcheck.audio.resampling import resample
from humcheck.audio.warping import on_other_clock
from humcheck.comparison.material import ProgrammeMatch
from humcheck.evidence.encoding import encode
from humcheck.evidence.loudness import PROGRAMME_CEILING_DBFS, common_raise_db, made_louder
from humcheck.evidence.quiet_group import EXCERPT_S
from humcheck.evidence.separation import EXCERPT_RATE_HZ
from humcheck.evidence.sounds import LIMITED_WORDS, Sound, match_words, raise_words

#: Read beyond both ends, so that resampling is settled.
_MARGIN_S = 0.1
#: Part of the direct take in which the excerpt is sought.
_SOUGHT_S = 60.0
#: Programme that is very soft is raised, but not without end.
_MOST_RAISE_DB = 30


def programme_sounds(group: str, match: ProgrammeMatch) -> Iterator[Sound]:
    """Yield direct and through.

    Parameters
    ----------
    group : str
        What is listened to together.
    match : ProgrammeMatch
        Both takes, lined up.
    """
    direct_file = open_take(match.direct_path)
    rate_hz = direct_file.rate_hz
    length = int(EXCERPT_S * rate_hz)
    start = _loud_start(match, rate_hz, length)
    if start is None:
        return
    margin = int(_MARGIN_S * rate_hz)
    direct = direct_file.read(start - margin, start + length + margin)
    through = _through(match, rate_hz, start - margin, len(direct)) * db_to_ratio(-match.gain_db)
    out_hz = min(rate_hz, EXCERPT_RATE_HZ)
    cut = slice(int(_MARGIN_S * out_hz), int(_MARGIN_S * out_hz) + int(EXCERPT_S * out_hz))
    sounds = [resample(samples, rate_hz, out_hz)[cut] for samples in (direct, through)]
    raised_db = common_raise_db(sounds, out_hz, ceiling_dbfs=PROGRAMME_CEILING_DBFS, most_db=_MOST_RAISE_DB)
    for take, samples in zip((match.direct, match.through), sounds, strict=True):
        title = "Direct" if take is match.direct else f"Through {take.key.subject}"
        louder, limited = made_louder(samples, out_hz, raised_db, ceiling_dbfs=PROGRAMME_CEILING_DBFS)
        words = f"{title}: the programme, {raise_words(raised_db)}{match_words(-match.gain_db, take.role)}."
        yield Sound(
            group=group,
            kind="programme",
            role=take.role,
            key=take.key,
            caption=words + (LIMITED_WORDS if limited else ""),
            raised_db=float(raised_db),
            level_dbfs=power_to_dbfs(float(np.mean(samples**2))) + raised_db,
            content=encode(louder, out_hz),
            match_db=-match.gain_db if take is match.through else None,
            is_limited=limited,
        )


def _loud_start(match: ProgrammeMatch, rate_hz: int, length: int) -> int | None:
    """Return where the excerpt starts in the direct take: where it is loudest, as far as both takes hold it."""
    alignment = match.alignment
    ends = np.array([0.0, match.through_samples - 1.0])
    first, last = (ends - alignment.offset_samples) / (1.0 + alignment.drift_ppm * 1e-6)
    file = open_take(match.direct_path)
    low, high = max(0, int(np.ceil(first))), min(file.n_samples, int(last), int(first) + int(_SOUGHT_S * rate_hz))
    high = min(high, low + int(_SOUGHT_S * rate_hz))
    if high - low < length:
        return None
    step = max(1, length // 16)
    samples = file.read(low, high)
    usable = len(samples) // step * step
    powers = (samples[:usable] ** 2).mean(axis=1).reshape(-1, step).mean(axis=1)
    sums = np.convolve(powers, np.ones(min(length // step, len(powers))), mode="valid")
    best = low + int(np.argmax(sums)) * step
    return min(best, high - length)


def _through(match: ProgrammeMatch, rate_hz: int, start: int, length: int) -> Floats:
    """Return the through take as it would stand on the direct take's clock from `start` on, its channels in order."""
    file = open_take(match.through_path)
    ratio = file.rate_hz / rate_hz
    slope = match.alignment.drift_ppm * 1e-6
    place = match.alignment.offset_samples + start * (1.0 + slope)
    margin = int(_MARGIN_S * file.rate_hz)
    first = int(np.floor(place * ratio)) - margin
    stop = int(np.ceil((place + length * (1.0 + slope)) * ratio)) + margin
    samples = resample(file.read(first, stop), file.rate_hz, rate_hz)
    if match.alignment.swapped:
        samples = samples[:, ::-1]
    columns = [
        on_other_clock(np.ascontiguousarray(column), place - first / ratio, slope, length)[1] for column in samples.T
    ]
    return np.stack(columns, axis=1)
