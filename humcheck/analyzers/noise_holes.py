"""Noise full of holes: a lossy coder leaves out what it thinks unheard, a noise suppressor what it thinks noise.

A suppressor has learnt the noise: where nothing plays it treats every band alike, low ones too, in both channels and at
all times. A coder spends its bits where it thinks they are heard: its holes lie high up, grow from band to band, end
where it cuts the top off, and differ between the quiet and the silent channel beside a tone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.analyzers.noise_stretches import Flags, NoiseStretch, least_density
from humcheck.analyzers.noise_texture import NATURAL_CREST_DB, NATURAL_HOLES, NATURAL_SPREAD_DB
from humcheck.audio.levels import Floats
from humcheck.results.quantities import QUANTITIES
from humcheck.results.rows import Fault

#: Over natural noise. In 200 clean takes the second highest of all bands and sections went up by 1.1 dB, 1.0 dB, and
#: half of the natural share; coders that save much leave 10 dB and ten times the share.
_SPREAD_DB = NATURAL_SPREAD_DB + 1.5
_CREST_DB = NATURAL_CREST_DB + 1.5
_HOLES = 3.0 * NATURAL_HOLES
#: So many bands must show it, and hum and buzz count as touched where it shows below this.
_FEWEST_BANDS = 2
_TOUCHES_LINES_HZ = 3000.0
#: Over natural noise: touched from the first on (most bands), spared up to the second (the median of low bands), and
#: changed from the third on (the median of one high band). Natural bands spread by 0.3 dB about 0.
_TOUCHED_DB = 0.4
_SPARED_DB = 0.4
_CHANGED_DB = 4.5
#: Bands are alike where all but the 15 % at either end lie within this, and this share of their median: most
#: suppressors left 0.7 dB at 1 dB and 4 dB at 16 dB, the most even of all coders 2.8 dB at 2 dB.
_ALIKE_DB = 0.8
_ALIKE_SHARE = 0.25
#: Fewer bands than these tell nothing about alikeness; so few, and two of them must lie below 4 kHz.
_FEWEST_ALIKE = 5
_MANY_ALIKE = 12
_LOW_HZ = 4000.0
#: Noise this much over that of a dithered recorder is not that of the recorder.
_OVER_FLOOR = 2.0
#: Noise far below that of a recorder of 24 bits is none, but what a decoder makes of nothing.
_EMPTY = 1e-3
_EMPTY_BESIDE_NOISE = 1e-2

_LINES = ("hum_level", "hum_level_a", "buzz_level", "buzz_level_a", "hum_and_buzz_level")
_SPOILS = (
    *(name for name, entry in QUANTITIES.items() if entry.kind == "level" and name != "tone_level"),
    *("noise_spectrum", "hiss_spectrum", "dynamic_range", "dynamic_range_a"),
    *("thd", "thd_n", "imd_smpte", "imd_difference"),
)


def hole_fault(stretches: Sequence[NoiseStretch]) -> Fault | None:
    """Return the fault of noise that is full of holes: code ``noise-suppression`` or ``lossy-coding``."""
    hit: list[tuple[NoiseStretch, float]] = []
    for stretch in stretches:
        texture = stretch.texture
        sparse = (texture.spread_db > _SPREAD_DB) | (texture.holes > _HOLES) | (texture.crest_db > _CREST_DB)
        sparse |= _empty(stretch)
        hit += [(stretch, float(texture.centre_hz[band])) for band in np.flatnonzero(sparse.any(axis=1))]
    if len(hit) < _FEWEST_BANDS:
        return None
    lowest_hz = min(centre_hz for _, centre_hz in hit)
    first = min((stretch for stretch, _ in hit), key=lambda stretch: stretch.start_s)
    code, sentence = _words(_pattern(stretches), lowest_hz)
    return Fault(
        code=code,
        start_s=first.start_s,
        end_s=max(stretch.end_s for stretch, _ in hit),
        sentence=sentence,
        spoils=[name for name in _SPOILS if lowest_hz <= _TOUCHES_LINES_HZ or name not in _LINES],
    )


@dataclass(frozen=True, slots=True)
class _Pattern:
    """Whether all bands are alike, and whether they are not; neither where too little noise can be read."""

    is_alike: bool
    is_uneven: bool


def _pattern(stretches: Sequence[NoiseStretch]) -> _Pattern:
    """Return how the holes lie in the silent channels; bands at the recorder's own floor say nothing."""
    centres_hz, excess_db = _readable(stretches)
    if excess_db.size < _FEWEST_ALIKE:
        return _Pattern(is_alike=False, is_uneven=_is_emptied(stretches))
    low, middle, high = np.quantile(excess_db, (0.15, 0.5, 0.85))
    low_db = excess_db[centres_hz < _LOW_HZ]
    high_db = [float(np.median(excess_db[centres_hz == one])) for one in np.unique(centres_hz) if one >= _LOW_HZ]
    if _is_emptied(stretches):
        return _Pattern(is_alike=False, is_uneven=True)
    if low > _TOUCHED_DB and high - low < _ALIKE_DB + _ALIKE_SHARE * middle:
        return _Pattern(is_alike=low_db.size > 1 or excess_db.size >= _MANY_ALIKE, is_uneven=False)
    spared = low_db.size > 1 and float(np.median(low_db)) < _SPARED_DB
    return _Pattern(is_alike=False, is_uneven=spared and max(high_db, default=0.0) > _CHANGED_DB)


def _readable(stretches: Sequence[NoiseStretch]) -> tuple[Floats, Floats]:
    """Return middles and spread, over natural noise, of the bands of silent channels that hold noise of their own."""
    centres: list[float] = []
    excess: list[float] = []
    for stretch in stretches:
        texture = stretch.texture
        floor = _OVER_FLOOR * least_density(stretch, stretch.step)
        for index in stretch.silent_channels():
            chosen = texture.is_readable[:, index] & (texture.density[:, index] > floor)
            centres += texture.centre_hz[chosen].tolist()
            excess += (texture.spread_db[chosen, index] - NATURAL_SPREAD_DB).tolist()
    return np.array(centres), np.array(excess)


def _is_emptied(stretches: Sequence[NoiseStretch]) -> bool:
    """Return whether a band of a silent channel holds nothing, and another one of that channel holds noise."""
    return any(bool(np.any(_empty(one).any(axis=0) & _holds_noise(one).any(axis=0))) for one in stretches)


def _holds_noise(stretch: NoiseStretch) -> Flags:
    return np.asarray(stretch.texture.density > _OVER_FLOOR * least_density(stretch))


def _empty(stretch: NoiseStretch) -> Flags:
    """Return which bands of silent channels hold far less than any recorder's noise, but not digital silence."""
    density = stretch.texture.density
    allowed = np.where(_holds_noise(stretch).any(axis=0), _EMPTY_BESIDE_NOISE, _EMPTY)
    silent = np.zeros(density.shape[1], dtype=bool)
    silent[stretch.silent_channels()] = True
    return np.asarray((density > 0.0) & (density < allowed * least_density(stretch)) & silent)


def _words(pattern: _Pattern, lowest_hz: float) -> tuple[str, str]:
    """Return code and sentence."""
    reach = f"From about {lowest_hz / 1000.0:.1f} kHz up the noise of this take is full of holes, "
    coder = "lossy coding (MP3 and its like, a wireless link, a call)"
    loss = "soft sound is no longer what the device made. "
    if pattern.is_alike:
        return (
            "noise-suppression",
            "In all bands alike the noise of this take is full of holes, as noise suppression leaves them: "
            + loss
            + "Switch noise suppression and other sound enhancements off (in the system, the driver, the program), and "
            "record again.",
        )
    record = "Record uncompressed (WAV or FLAC), switch sound enhancements off, and record again."
    if pattern.is_uneven:
        return (
            "lossy-coding",
            f"{reach}which spare the low bands or empty others, as {coder} leaves them, less likely noise suppression: "
            f"{loss}{record}",
        )
    return "lossy-coding", f"{reach}as {coder} or noise suppression leaves them: {loss}{record}"
