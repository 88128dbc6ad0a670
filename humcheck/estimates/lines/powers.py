"""Line powers of a joint fit, without the power that noise adds, and how far they can be trusted together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.estimates.lines.joint import JointFit
from humcheck.estimates.lines.spectrum import Complexes, Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePowers:
    """Lines of one comb in the bands of a fit.

    Attributes
    ----------
    amplitude : numpy.ndarray, shape (n_bands, n_ch)
        Complex amplitudes at the record's middle, full scale 1.0.
    amplitude_variance : numpy.ndarray, shape (n_bands, n_ch)
        Their variances E|dc|^2.
    mean_square : numpy.ndarray, shape (n_bands, n_ch)
        Unbiased mean square of each line; may be negative where there is none.
    covariance : numpy.ndarray, shape (n_ch, n_bands, n_bands)
        Covariance of the mean squares.
    """

    amplitude: Complexes
    amplitude_variance: Floats
    mean_square: Floats
    covariance: Floats


def comb_frequencies(fit: JointFit) -> Floats:
    """Return the mean frequencies of the fundamentals, shape (n_families,)."""
    found = list(fit.combs.rigid_hz)
    if fit.combs.mains_hz is not None:
        found.insert(0, fit.combs.mains_hz + float(fit.spline.mean_frequency_row() @ fit.combs.coefficients))
    return np.array(found)


def line_powers(fit: JointFit, column: int) -> LinePowers:
    """Return the lines of one comb.

    A line's variance has two parts: noise in its own band, and the common phase's uncertainty, which moves all lines of
    the comb together. The second part is what grows without limit where two combs cannot be told apart.
    """
    gains = fit.bands.line_gains(fit.bands.orders * comb_frequencies(fit)[column])
    used = fit.used[:, column][:, np.newaxis] & (gains > 0.0)
    gains = np.where(used, gains, np.inf)
    amplitude = fit.amplitudes[:, :, column]
    covariance = fit.covariance()
    response = fit.amplitude_response()[:, :, column]
    own = fit.gram_inverse[:, column, column].real[:, np.newaxis]
    moved = np.einsum("bcu,uv,bcv->bc", response.conj(), covariance, response).real
    variance = (own + moved) / gains**2
    slope = (amplitude.conj()[:, :, np.newaxis] * response).real / gains[:, :, np.newaxis] ** 2
    together = np.einsum("bcu,uv,dcv->cbd", slope, covariance, slope)
    alone = (0.5 * np.abs(amplitude) ** 2 * own / gains**4 + 0.25 * variance**2).T
    places = np.arange(together.shape[1])
    together[:, places, places] += alone
    # A line whose amplitude is known no better than its phase counts with its variance's own scatter (the 1/4 above).
    return LinePowers(
        amplitude=amplitude / gains,
        amplitude_variance=np.where(used, variance, 0.0),
        mean_square=0.5 * (np.abs(amplitude / gains) ** 2 - np.where(used, variance, 0.0)),
        covariance=together,
    )


def joint_power(fit: JointFit, columns: list[int]) -> tuple[Floats, Floats]:
    """Return mean square of several combs' sum and its standard deviation in each band, shapes (n_bands, n_ch)."""
    gains = fit.bands.line_gains(fit.bands.orders * comb_frequencies(fit)[columns].mean())
    own = fit.amplitudes[:, :, columns]
    block = np.linalg.inv(fit.gram_inverse[:, columns][:, :, columns])
    n_times = fit.bands.time_s.size
    raw = np.einsum("bcm,bmn,bcn->bc", own.conj(), block, own).real
    n_used = fit.used[:, columns].sum(axis=1)[:, np.newaxis]
    mean_square = 0.5 * (raw - n_used) / n_times
    sd = 0.5 * np.sqrt(2 * np.maximum(raw, 0.0) + n_used) / n_times
    return mean_square / gains**2, sd / gains**2
