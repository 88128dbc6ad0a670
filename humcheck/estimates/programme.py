"""What a device does to arbitrary material: its linear part, and what is left once that is taken away.

One half of the material trains a linear filter, the other half is scored, so that the filter cannot flatter itself by
following noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.audio.spectra import fast_length
from humcheck.errors import MeasurementError
from humcheck.takes.programme import ProgrammeAlignment

#: Length of the linear part: 8192 samples hold the tail of a 15 Hz high-pass at 48 kHz, 2048 would leave -50 dB.
N_TAPS = 8192
N_TAPS_BEFORE = 1024
#: The stretch used of longer material.
LONGEST_S = 90.0
LEAST_S = 4.0
BAND_HZ = (20.0, 20000.0)
GAIN_BAND_HZ = (100.0, 10000.0)
#: Accuracy of the filter in each pass: the first ones only serve the timing.
_TOLERANCES = (1e-4, 1e-5, 1e-6)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProgrammeFit:
    """The linear part of a path, found with programme material, and the null that it leaves.

    Attributes
    ----------
    residual_db : float
        Power of what is left over the power of the direct take, both 20 Hz-20 kHz, in the half that was not trained on.
    residual_sd_db, gain_sd_db : float
        Standard uncertainties that follow from the number of samples, what is left being taken for noise.
    gain_db : float
        Level of the linear part, 100 Hz-10 kHz, weighted by the material's own spectrum.
    polarity : int
        1 or -1.
    taps : numpy.ndarray, shape (N_TAPS,)
        The linear part as an impulse response; time zero at index ``N_TAPS_BEFORE``.
    offset_samples, drift_ppm : float
        The alignment, refined once the linear part was known.
    scored_s : float
        Length of the scored half in seconds.
    """

    residual_db: float
    residual_sd_db: float
    gain_db: float
    gain_sd_db: float
    polarity: int
    taps: Floats
    offset_samples: float
    drift_ppm: float
    scored_s: float


def fit_programme(direct: Floats, through: Floats, rate_hz: float, alignment: ProgrammeAlignment) -> ProgrammeFit:
    """Fit the linear part of the path from `direct` to `through`, one channel each, and score the null.

    Parameters
    ----------
    direct, through : numpy.ndarray, shapes (n,) and (m,)
        One channel of each take, at the same rate.
    rate_hz : float
        Sampling rate.
    alignment : ProgrammeAlignment
        Of these takes.

    Raises
    ------
    MeasurementError
        If less than 4 s are common to both takes, or the direct take is silent.

    Notes
    -----
    Music whose spectrum changes, seen through a filter whose delay depends on frequency, looks like drift. So once the
    filter is known, what is left is fitted by ``(e0 + e1 n)`` times the derivative of the prediction: that corrects
    offset and drift, and the filter is fitted again.
    """
    from humcheck.audio.warping import on_other_clock

    n_most = int(LONGEST_S * rate_hz)
    offset, slope = alignment.offset_samples, alignment.drift_ppm * 1e-6
    begin = max(0, int(np.ceil(-offset)) + 1)
    direct = direct[begin : begin + n_most]
    offset += begin * (1 + slope)
    taps = np.zeros(N_TAPS)
    for tolerance in _TOLERANCES:
        start, aligned = on_other_clock(through, offset, slope, len(direct))
        source = direct[start : start + len(aligned)]
        require_material(source, rate_hz)
        half = len(source) // 2
        taps = least_squares_taps(source[:half], aligned[:half], tolerance, taps)
        predicted = filtered(source, taps)
        left = aligned - predicted
        ahead, drift = _timing_error(predicted, left)
        offset -= (ahead - drift * start) * (1 + slope)
        slope -= drift * (1 + slope)
    # The last correction is applied to first order instead of warping once more.
    n = np.arange(len(left))
    left = left - (ahead + drift * n) * _derivative(predicted)
    scored = slice(half + N_TAPS, len(source) - N_TAPS)
    residual = _band_power(left[scored], rate_hz) / _band_power(source[scored], rate_hz)
    n_scored = scored.stop - scored.start
    return ProgrammeFit(
        residual_db=float(10 * np.log10(max(residual, 1e-40))),
        # A power from n independent samples scatters by sqrt(2 / n); a gain by the share of noise over sqrt(n).
        residual_sd_db=float(10 / np.log(10) * np.sqrt(2 / n_scored)),
        gain_sd_db=float(20 / np.log(10) * np.sqrt(residual / half)),
        gain_db=_gain_db(source, taps, rate_hz),
        polarity=1 if taps[int(np.argmax(np.abs(taps)))] > 0 else -1,
        taps=taps,
        offset_samples=offset - begin * (1 + slope),
        drift_ppm=slope * 1e6,
        scored_s=n_scored / rate_hz,
    )


def require_material(source: Floats, rate_hz: float) -> None:
    """Raise MeasurementError where there is too little material, or none."""
    if len(source) < max(LEAST_S * rate_hz, 6 * N_TAPS):
        raise MeasurementError(f"less than {LEAST_S:.0f} s of the material is common to both takes")
    if not np.any(source):
        raise MeasurementError("the direct take is silent")


def least_squares_taps(source: Floats, target: Floats, tolerance: float, start: Floats) -> Floats:
    """Return the least-squares FIR from `source` to `target`.

    Only samples count whose whole past and future lie inside, so the normal equations are not quite Toeplitz; they are
    solved by conjugate gradients, preconditioned with the circulant that is nearest to them.
    """
    import scipy.fft
    from scipy.sparse.linalg import LinearOperator, cg

    size = fast_length(len(source) + 2 * N_TAPS)
    spectrum = scipy.fft.rfft(source, size)
    lags = np.arange(N_TAPS) - N_TAPS_BEFORE
    inside = slice(N_TAPS, len(source) - N_TAPS)

    def correlated(samples: Floats) -> Floats:
        kept = np.zeros(len(source))
        kept[inside] = samples[inside]
        product = np.conj(spectrum) * scipy.fft.rfft(kept, size)
        correlation: Floats = scipy.fft.irfft(product, size)[lags]
        return correlation

    def convolved(taps: Floats) -> Floats:
        padded = np.zeros(size)
        padded[lags] = taps
        samples: Floats = scipy.fft.irfft(spectrum * scipy.fft.rfft(padded), size)[: len(source)]
        return samples

    shape = (N_TAPS, N_TAPS)
    normal = LinearOperator(shape, matvec=lambda taps: correlated(convolved(np.ravel(taps))), dtype=np.float64)
    # T. Chan's circulant, the nearest to a Toeplitz matrix, and positive where that is.
    own = scipy.fft.irfft(np.abs(spectrum) ** 2, size)[:N_TAPS]
    share = np.arange(N_TAPS) / N_TAPS
    power = scipy.fft.rfft((1 - share) * own + share * np.roll(own[::-1], 1)).real

    def precondition(taps: Floats) -> Floats:
        solved: Floats = scipy.fft.irfft(scipy.fft.rfft(np.ravel(taps)) / power, N_TAPS)
        return solved

    preconditioner = LinearOperator(shape, matvec=precondition, dtype=np.float64)
    taps, _ = cg(normal, correlated(target), x0=start, rtol=tolerance, maxiter=200, M=preconditioner)
    return np.asarray(taps)


def filtered(source: Floats, taps: Floats) -> Floats:
    """Return `source` through the linear part, same shape."""
    import scipy.fft

    size = fast_length(len(source) + len(taps))
    product = scipy.fft.rfft(source, size) * scipy.fft.rfft(taps, size)
    samples: Floats = scipy.fft.irfft(product, size)[N_TAPS_BEFORE : N_TAPS_BEFORE + len(source)]
    return samples


def _derivative(samples: Floats) -> Floats:
    """Return the derivative per sample of a band-limited signal."""
    import scipy.fft

    size = fast_length(len(samples) + 1024)
    spectrum = scipy.fft.rfft(samples, size)
    omega = 2 * np.pi * np.arange(len(spectrum)) / size
    derivative: Floats = scipy.fft.irfft(1j * omega * spectrum, size)[: len(samples)]
    return derivative


def _timing_error(predicted: Floats, left: Floats) -> tuple[float, float]:
    """Return ``(e0, e1)`` of ``left = (e0 + e1 n) predicted'`` by least squares: how far the take runs ahead."""
    inner = slice(N_TAPS, len(predicted) - N_TAPS)
    derivative = _derivative(predicted)[inner]
    n = np.arange(len(predicted), dtype=np.float64)[inner]
    scale = n[-1]
    columns = np.stack([derivative, derivative * (n / scale)], axis=1)
    solution = np.linalg.solve(columns.T @ columns, columns.T @ left[inner])
    return float(solution[0]), float(solution[1] / scale)


def _band_power(samples: Floats, rate_hz: float) -> float:
    """Return the mean square within 20 Hz-20 kHz, or the band that the rate allows."""
    import scipy.fft

    size = fast_length(len(samples))
    power = np.abs(scipy.fft.rfft(samples * np.hanning(len(samples)), size)) ** 2
    frequency_hz = np.arange(len(power)) * rate_hz / size
    inside = (frequency_hz >= BAND_HZ[0]) & (frequency_hz <= BAND_HZ[1])
    return float(np.sum(power[inside]))


def _gain_db(source: Floats, taps: Floats, rate_hz: float) -> float:
    import scipy.fft

    size = N_TAPS
    frames = source[: len(source) // size * size].reshape(-1, size) * np.hanning(size)
    power = np.mean(np.abs(scipy.fft.rfft(frames, axis=1)) ** 2, axis=0)
    response = np.abs(scipy.fft.rfft(taps, size)) ** 2
    frequency_hz = np.arange(len(power)) * rate_hz / size
    inside = (frequency_hz >= GAIN_BAND_HZ[0]) & (frequency_hz <= GAIN_BAND_HZ[1])
    return float(10 * np.log10(np.sum((power * response)[inside]) / np.sum(power[inside])))
