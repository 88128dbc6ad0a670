"""Hum that swells: what a changing amplitude does to the power of a comb, from the amplitude of its parts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.joint import JointFit
from humcheck.estimates.lines.spectrum import Floats

#: Length of the parts in which the amplitude is read, and how many there are at least and at most.
PART_S = 0.5
FEWEST_PARTS, MOST_PARTS = 4, 240


@dataclass(frozen=True, slots=True, kw_only=True)
class Swell:
    """Change of a comb's amplitude over the section.

    Attributes
    ----------
    power_factor : numpy.ndarray, shape (n_ch,)
        Mean of the squared amplitude over the square of its mean; noise is taken off, so it may fall below 1.
    sd : numpy.ndarray, shape (n_ch,)
        Standard uncertainty of the comb's power that comes from it, relative to the power: its own, and what the
        faded ends of the section may hold.
    """

    power_factor: Floats
    sd: Floats


def read_swell(fit: JointFit, column: int, mean_square: Floats) -> Swell:
    """Read how a comb's amplitude changes, all its lines together, each with the weight of its power.

    Parameters
    ----------
    fit : JointFit
        Fit in the channels as they are.
    column : int
        Which comb.
    mean_square : numpy.ndarray, shape (n_bands, n_ch)
        Power of its lines.
    """
    n_times = fit.bands.time_s.size
    n_ch = fit.amplitudes.shape[1]
    n_parts = int(np.clip(fit.bands.spectrum.duration_s / PART_S, FEWEST_PARTS, min(MOST_PARTS, n_times)))
    amplitude = fit.amplitudes[:, :, column]
    strength = np.abs(amplitude) ** 2
    weight = np.where(fit.used[:, column, np.newaxis] & (strength > 0.0), np.maximum(mean_square, 0.0), 0.0)
    weight = weight / np.maximum(weight.sum(axis=0), 1e-300)
    edges = np.linspace(0, n_times, n_parts + 1).astype(int)
    lengths = np.diff(edges)
    turned = fit.residual * fit.lines[:, column].conj()[:, np.newaxis]
    sums = np.add.reduceat(turned, edges[:-1], axis=2)
    change = (amplitude.conj()[:, :, np.newaxis] * sums).real / np.maximum(strength, 1e-300)[:, :, np.newaxis]
    change = (weight[:, :, np.newaxis] * change).sum(axis=0) / lengths
    excess = np.maximum(fit.residual_power / n_times, 1.0)
    noise = (weight**2 * excess / np.maximum(2 * strength, 1e-300)).sum(axis=0) * float((1 / lengths).mean())
    if not weight.any():
        return Swell(power_factor=np.ones(n_ch), sd=np.zeros(n_ch))
    scatter = change.var(axis=1, ddof=1) - noise
    own = 2 * noise**2 / (n_parts - 1) + 4 * np.maximum(scatter, 0.0) * noise / n_parts
    step_s = float(fit.bands.time_s[1] - fit.bands.time_s[0])
    unseen = max(1.0 - n_times * step_s / fit.bands.spectrum.section_s, 0.0)
    ends = (2 * unseen) ** 2 * np.maximum(scatter, 0.0)
    return Swell(power_factor=np.asarray(1.0 + scatter), sd=np.sqrt(own + ends))
