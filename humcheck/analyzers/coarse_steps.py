"""Recorders that round without dither: where a take is quiet, its samples step between a few values.

Triangular dither makes the rounded value of a still sound wander: two samples in a row are alike in at most
``0.75**2 + 2 * 0.125**2`` = 59 % of cases: on a value, such dither moves it to either neighbour in one of eight.
Without dither, noise softer than about 0.4 of a step leaves more alike, and what is softer than half a step is lost, or
comes out as bursts.

References
----------
.. [1] R. A. Wannamaker, S. P. Lipshitz, J. Vanderkooy, J. N. Wright, "A theory of nonsubtractive dither", IEEE Trans.
   Signal Processing 48(2), 2000 (from memory): triangular dither, two steps wide. The shares are derived from it here.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from humcheck.analyzers.noise_stretches import NoiseStretch
from humcheck.analyzers.noise_texture import NATURAL_SPREAD_DB
from humcheck.audio.levels import amplitude_to_dbfs
from humcheck.results.quantities import QUANTITIES
from humcheck.results.rows import Channel, Fault

#: More alike than any dithered recording; 6 s at 44.1 kHz count to 0.1 %.
_STILL = 0.62
#: Noise beside a tone explains as many alike as this, less than there are in the quiet: then it was turned down.
_UNEXPLAINED = 0.12
#: Lines of a tone, or what leaks of it, are no noise.
_NATURAL_WITHIN_DB = 2.0
#: Lines that are this many steps strong come through the rounding.
_LINES_STEPS = 2.0
_HUM = ("hum_level", "hum_level_a")
_SPOILS = (
    *(name for name, entry in QUANTITIES.items() if entry.kind == "level" and name != "tone_level"),
    "noise_spectrum",
    "hiss_spectrum",
)


def undithered_fault(stretches: Sequence[NoiseStretch], channels: Sequence[Channel]) -> Fault | None:
    """Return the fault of a recorder whose rounding hides the noise: code ``undithered``.

    Parameters
    ----------
    stretches : sequence of NoiseStretch
        Beside tones and in the quiet.
    channels : sequence of str
        Names of the channels.
    """
    quiet = next((stretch for stretch in stretches if stretch.is_quiet), None)
    steps = [stretch.step for stretch in stretches]
    if quiet is None or not steps or None in steps:
        return None
    step = min(one for one in steps if one is not None)
    hit = [index for index in range(len(channels)) if _is_rounded(stretches, quiet, step, index)]
    if not hit:
        return None
    bits = 1 - round(np.log2(step))
    lost_dbfs = amplitude_to_dbfs(0.5 * step)
    where = "" if len(hit) == len(channels) else f" of the {channels[hit[0]]} channel"
    strong = all(quiet.rms[index] > _LINES_STEPS * step for index in hit)
    return Fault(
        code="undithered",
        channel=None if len(hit) == len(channels) else channels[hit[0]],
        start_s=quiet.start_s,
        end_s=quiet.end_s,
        sentence=f"The recorder rounds to {bits} bits without dither: where the track is silent the samples{where} "
        f"step between a few values, and sound softer than about {lost_dbfs:.0f} dBFS is lost or changed. Record with "
        "24 bits.",
        spoils=[name for name in _SPOILS if not (strong and name in _HUM)],
    )


def _is_rounded(stretches: Sequence[NoiseStretch], quiet: NoiseStretch, step: float, index: int) -> bool:
    still = float(quiet.still[index])
    if still < _STILL:
        return False
    # Rounding beside a tone acts as noise of a twelfth of a squared step; the rest is what there was before it.
    beside = [noise for stretch in stretches if not stretch.is_quiet for noise in _noise(stretch, index, step)]
    if not beside:
        return False
    own = max(float(np.median(beside)) - 1.0 / 12.0, 0.0)
    return still < _most_alike(own) + _UNEXPLAINED


def _noise(stretch: NoiseStretch, index: int, step: float) -> list[float]:
    """Return the noise of each band that holds natural noise, as if white: mean square, in squared steps."""
    texture = stretch.texture
    if stretch.idle == index:
        return []
    natural = np.abs(texture.spread_db[:, index] - NATURAL_SPREAD_DB) < _NATURAL_WITHIN_DB
    return [float(power) for power in texture.density[natural, index] * texture.n_bins / step**2]


def _most_alike(mean_square: float) -> float:
    """Return the largest share of neighbours alike among samples of white noise rounded, its mean square in steps."""
    if mean_square <= 0.0:
        return 1.0
    from scipy.special import ndtr

    edges = np.arange(-8.5, 9.0) / np.sqrt(mean_square)
    shares = [float(ndtr(high) - ndtr(low)) for low, high in pairwise(edges)]
    return float(np.sum(np.square(shares)))
