"""What a device adds to a sound besides a linear change, where direct and through lie in one recording, on one clock.

No clocks have to be lined up, so nothing is left of them. Noise is left of both channels: pauses and soft passages tell
how much, and it is taken off; what distortion leaves there is far less, since it falls faster than the sound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.estimates.programme import (
    BAND_HZ,
    LONGEST_S,
    N_TAPS,
    filtered,
    least_squares_taps,
    require_material,
)

_TOLERANCE = 1e-6
_BLOCK_S = 0.1
#: Blocks so far below the loud ones tell of noise.
_SOFT_DB = -20.0
_FEWEST_SOFT = 5
#: More than this re the through sound is no distortion: the channels do not hold the same sound.
UNLIKE_DB = -10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitNull:
    """What is left, as a power re that of the direct sound, 20 Hz-20 kHz, in the half that was not trained on.

    Attributes
    ----------
    total : float
        All of it.
    noise : float or None
        What soft passages show of noise; None where there are none.
    own : float
        The rest: total without noise, and without what the filter's errors leave.
    own_sd : float
        Its standard uncertainty.
    of_through : float
        Total re the power of the through sound.
    scored_s : float
        Length of the scored half in seconds.
    """

    total: float
    noise: float | None
    own: float
    own_sd: float
    of_through: float
    scored_s: float


def split_null(direct: Floats, through: Floats, rate_hz: float) -> SplitNull:
    """Return what is left of `through` once the linear change from `direct` is taken away.

    Parameters
    ----------
    direct, through : numpy.ndarray, shape (n,)
        Both channels of one recording that hold the same sound.
    rate_hz : float
        Sampling rate.

    Raises
    ------
    MeasurementError
        If there is less than 4 s of sound, or the direct channel is silent.
    """
    n_most = int(LONGEST_S * rate_hz)
    direct, through = direct[:n_most], through[:n_most]
    require_material(direct, rate_hz)
    half = len(direct) // 2
    taps = least_squares_taps(direct[:half], through[:half], _TOLERANCE, np.zeros(N_TAPS))
    scored = slice(half + N_TAPS, len(direct) - N_TAPS)
    left = _in_band((through - filtered(direct, taps))[scored], rate_hz)
    source, received = _in_band(direct[scored], rate_hz), _in_band(through[scored], rate_hz)
    power = max(float(np.mean(source**2)), np.finfo(np.float64).tiny)
    blocks, loudness = (_block_powers(samples, rate_hz) / power for samples in (left, source))
    total = float(blocks.mean())
    soft = loudness < loudness.max() * 10 ** (_SOFT_DB / 10)
    noise = float(blocks[soft].mean()) if soft.sum() >= _FEWEST_SOFT else None
    # The filter was found among noise itself: least squares passes up to so much more of the sound by its errors, and
    # next to nothing where the sound does not reach all frequencies: the solver then leaves those alone.
    errors = total * N_TAPS / half / 2
    variance = float(np.var(blocks)) / len(blocks) + errors**2
    if noise is not None:
        variance += float(np.var(blocks[soft])) / int(soft.sum())
    return SplitNull(
        total=total,
        noise=noise,
        own=total - errors - (noise or 0.0),
        own_sd=variance**0.5,
        of_through=total * power / max(float(np.mean(received**2)), np.finfo(np.float64).tiny),
        scored_s=len(left) / rate_hz,
    )


def _in_band(samples: Floats, rate_hz: float) -> Floats:
    import scipy.fft

    spectrum = scipy.fft.rfft(samples)
    frequency_hz = np.arange(len(spectrum)) * rate_hz / len(samples)
    spectrum[(frequency_hz < BAND_HZ[0]) | (frequency_hz > BAND_HZ[1])] = 0.0
    return np.asarray(scipy.fft.irfft(spectrum, len(samples)))


def _block_powers(samples: Floats, rate_hz: float) -> Floats:
    size = round(_BLOCK_S * rate_hz)
    return np.asarray(np.mean(samples[: len(samples) // size * size].reshape(-1, size) ** 2, axis=1))
