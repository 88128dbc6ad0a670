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
        Their variances E|dc|^2, turns of all lines together left out.
    mean_square : numpy.ndarray, shape (n_bands, n_ch)
        Unbiased mean square of each line; may be negative where there is none.
    covariance : numpy.ndarray, shape (n_ch, n_bands, n_bands)
        Covariance of the mean squares.
    alone_variance : numpy.ndarray, shape (n_bands, n_ch)
        Variance that each mean square would have beside no other comb, its phase known.
    """

    amplitude: Complexes
    amplitude_variance: Floats
    mean_square: Floats
    covariance: Floats
    alone_variance: Floats


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
    response = _without_turning(fit, fit.amplitude_response()[:, :, column], column)
    own = fit.gram_inverse[:, column, column].real[:, np.newaxis]
    moved = ((response.conj() @ covariance) * response).sum(axis=2).real
    variance = (own + moved) / gains**2
    # A band that was weighed down holds more than noise, but not at the line: only the noise is taken off there.
    bias = (own * fit.bands.weight**2 + moved) / gains**2
    slope = (amplitude.conj()[:, :, np.newaxis] * response).real / gains[:, :, np.newaxis] ** 2
    by_channel = slope.transpose(1, 0, 2)
    together = by_channel @ covariance @ by_channel.transpose(0, 2, 1)
    alone = (0.5 * np.abs(amplitude) ** 2 * own / gains**4 + 0.25 * variance**2).T
    places = np.arange(together.shape[1])
    together[:, places, places] += alone
    # A line whose amplitude is known no better than its phase counts with its variance's own scatter (the 1/4 above).
    return LinePowers(
        amplitude=amplitude / gains,
        amplitude_variance=np.where(used, variance, 0.0),
        mean_square=0.5 * (np.abs(amplitude / gains) ** 2 - np.where(used, bias, 0.0)),
        covariance=together,
        alone_variance=0.5 * np.abs(amplitude) ** 2 / fit.bands.time_s.size / gains**4,
    )


def _without_turning(fit: JointFit, response: Complexes, column: int) -> Complexes:
    """Return the responses without a common turn of the comb's own lines: that changes no line's power.

    The phase is zero at the middle of the section; how far its mean over the section is from there is not known well.
    """
    if not (fit.combs.has_mains and column == 0):
        return response
    mean_phase = np.zeros(fit.hessian.shape[0])
    mean_phase[: fit.combs.coefficients.size] = fit.spline.basis(fit.bands.time_s).mean(axis=0)
    turned = 1j * fit.bands.orders[:, np.newaxis] * fit.amplitudes[:, :, column]
    return np.asarray(response + turned[:, :, np.newaxis] * mean_phase)


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
