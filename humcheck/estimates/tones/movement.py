"""How a tone's level moves while it should stand still."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.tones.blocks import Complexes, Floats

_DB_PER_NEPER = float(20.0 / np.log(10.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """Movement of a level within a stretch.

    Attributes
    ----------
    change_db : numpy.ndarray, shape (n_channels,)
        Rise from the stretch's start to its end, by a straight line.
    unrest_db : numpy.ndarray, shape (n_channels,)
        RMS departure of 10 ms means from that line: noise, and hum that beats with the tone. What beats slowly may
        move a level or a change by about as much, far more than noise alone would.
    """

    change_db: Floats
    unrest_db: Floats


def movement(hann_sums: Complexes, sums: Floats) -> Movement:
    """Return how the level moves.

    Parameters
    ----------
    hann_sums : numpy.ndarray, shape (n_channels, n_blocks)
        Each block's sum against the tone with a Hann window in each block, phases standing still.
    sums : numpy.ndarray, shape (n_blocks,)
        The same sums of a tone of amplitude 2 at phase 0.
    """
    total = sums.sum()
    amplitude = hann_sums.sum(axis=1) / total
    place = np.linspace(-1.0, 1.0, len(sums)) if len(sums) > 1 else np.zeros(1)
    place = place - place @ sums / total
    along = np.real(hann_sums * np.conj(amplitude)[:, None]) / np.maximum(np.abs(amplitude) ** 2, 1e-40)[:, None]
    slope = along @ place / max(float(sums @ place**2), 1e-300)
    rest = along - sums * (1.0 + slope[:, None] * place)
    unrest = np.sqrt((rest**2 / np.maximum(sums, 1e-9 * sums.max())).sum(axis=1) / total)
    return Movement(change_db=_DB_PER_NEPER * 2.0 * slope, unrest_db=_DB_PER_NEPER * unrest)
