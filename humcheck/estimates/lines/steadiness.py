"""Whether a line keeps its amplitude: hum does, a drum or a voice that happens to have its frequency does not."""

from __future__ import annotations

import numpy as np

from humcheck.estimates.lines.joint import Booleans, JointFit

#: The record is compared in this many parts.
N_PARTS = 4
#: Scatter of the parts' amplitudes, relative to the mean (power), above which a line is not steady.
MOST_SCATTER = 0.25


def steady_lines(fit: JointFit) -> Booleans:
    """Return which lines of the combs are steady, shape (n_bands, n_ch, n_families).

    The scatter that noise alone gives the parts (their own residual's) is taken off first.
    """
    lines, left = fit.lines, fit.residual
    excess = np.maximum(fit.residual_power / left.shape[2], 1.0)
    edges = np.linspace(0, left.shape[2], N_PARTS + 1).astype(int)
    steady = np.ones((*fit.amplitudes.shape[:2], fit.n_families), dtype=np.bool_)
    for column in range(fit.n_families):
        turned = left * lines[:, column].conj()[:, np.newaxis]
        parts = np.add.reduceat(turned, edges[:-1], axis=2) / np.diff(edges)
        scatter = (np.abs(parts) ** 2).mean(axis=2)
        noise = excess * N_PARTS / left.shape[2]
        power = np.maximum(np.abs(fit.amplitudes[:, :, column]) ** 2, 1e-300)
        # Four parts of noise scatter by less than 3.3 times their mean in 999 of 1000 cases (chi-square, 8 d.f.).
        steady[:, :, column] = scatter - 3.3 * noise < MOST_SCATTER * power
    return steady
