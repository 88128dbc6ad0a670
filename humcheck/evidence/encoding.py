"""Excerpts as files: FLAC, which every browser plays and which keeps the samples as they are.

Nobody needs sixteen bits of a hiss. Where an excerpt holds hiss of its own, its samples are rounded to steps that lie
far below that hiss; FLAC then leaves out the bits that are always zero.
"""

from __future__ import annotations

import io

import numpy as np

from humcheck.audio.levels import Floats, db_to_ratio
from humcheck.audio.writing import MARK

_BITS = 16
#: Steps that the hiss must span, RMS: rounding then adds noise 20 dB below it (step / sqrt 12), and no distortion.
_LEAST_STEPS = 2.9
#: Steps of programme, and of tones alone: rounding noise lies at -86 dBFS, softer than the softest room.
FINE_STEP_DBFS = -76.0
_COARSEST_BITS = 6


def encode(samples: Floats, rate_hz: int, *, hiss_rms: float = 0.0, step_dbfs: float = FINE_STEP_DBFS) -> bytes:
    """Return a FLAC file.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Full scale 1.0.
    rate_hz : int
        Sampling rate.
    hiss_rms : float
        RMS of the hiss in it, of the channel with less of it; 0 where there is none.
    step_dbfs : float
        Size of a step that may be used whatever the hiss.
    """
    import soundfile

    step = 2.0 ** (1 - _BITS)
    allowed = max(hiss_rms / _LEAST_STEPS, db_to_ratio(step_dbfs))
    free_bits = int(np.clip(np.floor(np.log2(max(allowed / step, 1.0))), 0, _BITS - _COARSEST_BITS))
    coarse = 1 << free_bits
    # Towards zero at the top: rounding must not lift a sample above its ceiling.
    steps = np.clip(np.rint(samples / (step * coarse)), *_reach(samples, step * coarse)) * coarse
    steps = np.clip(steps, -(2 ** (_BITS - 1)), 2 ** (_BITS - 1) - coarse).astype(np.int16)
    buffer = io.BytesIO()
    with soundfile.SoundFile(
        buffer, "w", samplerate=rate_hz, channels=samples.shape[1], format="FLAC", subtype="PCM_16"
    ) as file:
        file.comment = MARK
        file.write(steps)
    return buffer.getvalue()


def _reach(samples: Floats, step: float) -> tuple[float, float]:
    """Return the lowest and highest number of steps that stay within the samples' own peak."""
    most = np.floor(float(np.abs(samples).max(initial=0.0)) / step)
    return -most, most
