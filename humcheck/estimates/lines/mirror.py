"""Gains of lines that share a band with a stronger line, safe against changes of the stronger one.

A strong line whose amplitude or phase changes has sidebands on both sides, equally strong. A second comb close to it
would be invented for them. So a weaker line is read together with its mirror image about the stronger one, and what
stands at the mirror image counts as noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.bands import Indices
from humcheck.estimates.lines.joint import JointFit
from humcheck.estimates.lines.spectrum import Complexes, Floats

#: Slow drift of a strong line's amplitude that is common on real benches (rms over a record, relative): mains change by
#: percents.
USUAL_DRIFT = 0.03
#: Power, relative to noise, above which a mirror image is real: noise gets there once in 8000 lines.
STANDS_OUT = 9.0
#: Share of a mirror column that must be outside the model's span, or the two cannot be told apart at all.
LEAST_OUTSIDE = 1e-5


@dataclass(frozen=True, slots=True, kw_only=True)
class LineGains:
    """How much each line explains, relative to what noise would.

    Attributes
    ----------
    together : numpy.ndarray, shape (n_bands, n_ch, n_families)
        |c|^2 over variance, the weaker lines given the stronger and the strongest the rest of what all explain;
        exponentially distributed with mean 1 where there is no line.
    safe : numpy.ndarray, shape (n_bands, n_ch, n_families)
        The same, changes of the stronger line counted as noise.
    mirrored : numpy.ndarray, shape (n_bands, n_ch, n_families)
        Variance of the whitened amplitude that the mirror image adds; 0 for the strongest line of a band.
    """

    together: Floats
    safe: Floats
    mirrored: Floats


def line_gains(fit: JointFit) -> LineGains:
    """Return the gains of all combs' lines in all bands."""
    n = fit.n_families
    n_bands, n_ch = fit.amplitudes.shape[:2]
    if n == 0:
        none = np.zeros((n_bands, n_ch, 0))
        return LineGains(together=none, safe=none, mirrored=none)
    own = fit.amplitudes[:, :, :n]
    block = np.linalg.inv(fit.gram_inverse[:, :n, :n])
    together = np.einsum("bcm,bmn,bcn->bc", own.conj(), block, own).real
    places = np.arange(n)
    alone = np.abs(own) ** 2 / fit.gram_inverse[:, places, places].real[:, np.newaxis]
    alone *= fit.used[:, np.newaxis, :n]
    gain, safe, mirrored = alone.copy(), alone.copy(), np.zeros_like(alone)
    if n > 1:
        strongest = (np.abs(own) ** 2 * fit.used[:, np.newaxis, :n]).sum(axis=1).argmax(axis=1)
        _weigh_against_mirror(fit, strongest, safe, mirrored)
        rows = np.arange(n_bands)
        others = alone.sum(axis=2) - alone[rows, :, strongest]
        gain[rows, :, strongest] = safe[rows, :, strongest] = np.maximum(together - others, 0.0)
    return LineGains(together=gain, safe=safe, mirrored=mirrored)


def _weigh_against_mirror(fit: JointFit, strongest: Indices, safe: Floats, mirrored: Floats) -> None:
    """Replace the gains of all but the strongest lines, in place."""
    lines, used, left = fit.lines, fit.used, fit.residual
    excess = np.maximum(
        fit.residual_power / left.shape[2], 1.0
    )  # what is left of an uneven line is no noise, but worse
    rows = np.arange(left.shape[0])
    centre = lines[rows, strongest]
    for column in range(fit.n_families):
        image = centre**2 * lines[:, column].conj()
        inner = np.einsum("bmt,bt->bm", lines.conj(), image)
        along = np.einsum("bmn,bn->bm", fit.gram_inverse, inner)
        length = (np.abs(image) ** 2).sum(axis=1)
        outside = length - np.einsum("bm,bm->b", inner.conj(), along).real
        outside = np.maximum(outside, LEAST_OUTSIDE * np.maximum(length, 1.0))
        at_image = np.einsum("bct,bt->bc", left, image.conj()) / outside[:, np.newaxis]
        amplitude = fit.amplitudes[:, :, column] - along[:, column, np.newaxis] * at_image
        variance = fit.gram_inverse[:, column, column].real + np.abs(along[:, column]) ** 2 / outside
        image_power = np.abs(at_image) ** 2
        doubt = np.where(image_power * outside[:, np.newaxis] > STANDS_OUT, image_power, 0.0)
        weaker = ((strongest != column) & used[:, column])[:, np.newaxis]
        drift = _drift_variance(fit, strongest, lines[:, column] * centre.conj())
        power = np.abs(amplitude) ** 2
        # A mirror image is one sample of what the stronger line does: the ratio to it is distributed as F(2, 2), whose
        # tail 1 / (1 + x) is that of noise at ln(1 + x).
        trusted = np.minimum(power / (variance[:, np.newaxis] * excess), np.log1p(power / (doubt + drift)))
        safe[:, :, column] = np.where(weaker, trusted, safe[:, :, column])
        mirrored[:, :, column] = np.where(weaker, doubt, 0.0)


def _drift_variance(fit: JointFit, strongest: Indices, beat: Complexes) -> Floats:
    """Return the variance that a slow drift of the strongest line lends to another line, shape (n_bands, n_ch).

    It matters where the two turn against each other by less than about a cycle over the record, where the mirror image
    cannot be told from the line itself.
    """
    turns = np.diff(beat, axis=1, prepend=beat[:, :1])
    phase = np.cumsum((turns * beat.conj()).imag, axis=1)
    cycles = phase.std(axis=1) * np.sqrt(12.0) / (2 * np.pi)
    parallel = np.minimum(np.abs(beat.mean(axis=1)) ** 2, 1.0 - LEAST_OUTSIDE)
    strength = np.abs(fit.amplitudes[np.arange(beat.shape[0]), :, strongest]) ** 2
    share = USUAL_DRIFT**2 / ((1.0 + (2 * cycles) ** 6) * (1.0 - parallel))
    return np.asarray(np.maximum(strength * share[:, np.newaxis], 1e-300))
