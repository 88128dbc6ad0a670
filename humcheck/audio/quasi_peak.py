"""The quasi-peak meter of ITU-R BS.468-4: weighting network, full-wave rectifier, charge and discharge, needle.

The Recommendation gives no circuit, only what bursts must read. The meter here is the simplest that meets every line
of both burst tables: a capacitor that charges fast through the rectifier and discharges slowly, and a needle that lags
behind it. Its three times were fitted to the middle of the tables; the limits themselves are checked by the tests.

References
----------
.. [1] ITU-R BS.468-4, table 1 (weighting), clause 2 (reading of single and of repeated bursts of 5 kHz, overswing,
   reversibility, calibration in RMS of a 1 kHz sine).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import Floats
from humcheck.audio.spectra import fast_length
from humcheck.audio.weighting import itu468_response

CHARGE_S = 1.53e-3
DISCHARGE_S = 0.2936
NEEDLE_S = 0.1416

#: After this time at a steady sound the charge differs from its final value by less than a thousandth.
SETTLING_S = 1.0

_FRAME_S = 0.2e-3
_PIECE_S = 0.5
_CONTEXT_S = 0.02
_CHUNK_S = 30.0
_LANE_S = 1.0
# Rectified samples of a tone locked to the rate miss its peaks; at this rate and above by less than 0.2 dB at 6 kHz.
_LOWEST_METER_RATE_HZ = 80_000.0


def quasi_peak_468(samples: Floats, rate_hz: float) -> Floats:
    """Return the highest deflection of the meter, starting from rest.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Full scale = 1.0.
    rate_hz : float
        Sampling rate in Hz.

    Returns
    -------
    numpy.ndarray, shape (n_channels,)
        In units of RMS, full scale 1.0: a steady 1 kHz sine reads its RMS value.
    """
    return np.asarray(quasi_peak_readings(samples, rate_hz)[1].max(axis=0, initial=0.0))


def quasi_peak_readings(samples: Floats, rate_hz: float) -> tuple[float, Floats]:
    """Return the course of the needle: the step in seconds, and the readings, shape (n_steps, n_channels)."""
    from scipy.signal import lfilter

    step_s, charge = _charge(samples, rate_hz)
    keep = np.exp(-step_s / NEEDLE_S)
    return step_s, np.asarray(lfilter([1.0 - keep], [1.0, -keep], charge, axis=0)) / _sine_charge()


def quasi_peak_means(samples: Floats | Iterable[Floats], rate_hz: float) -> Floats:
    """Return the mean reading in successive half seconds, once the meter has settled.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels), or iterable of such arrays
        Successive blocks of one stretch of steady noise.
    rate_hz : float
        Sampling rate in Hz.

    Returns
    -------
    numpy.ndarray, shape (n_half_seconds, n_channels)
        RMS-calibrated. Of less than 1.5 s of sound, one row: the mean of the second half.
    """
    means: list[Floats] = []
    left = np.zeros((0, 1))
    for step_s, charge in _settled(samples, rate_hz):
        left = np.concatenate([left, charge]) if len(left) else charge
        per_mean = round(0.5 / step_s)
        n_whole = len(left) // per_mean
        if n_whole:
            whole = left[: n_whole * per_mean].reshape(n_whole, per_mean, -1)
            means.append(whole.mean(axis=1))
            left = left[n_whole * per_mean :]
    if not means:
        means.append(left.mean(axis=0, keepdims=True))
    return np.concatenate(means) / _sine_charge()


def _settled(samples: Floats | Iterable[Floats], rate_hz: float) -> Iterator[tuple[float, Floats]]:
    """Yield the charge of successive chunks, each begun `SETTLING_S` early so that it has settled."""
    chunk, early = round(_CHUNK_S * rate_hz), round(SETTLING_S * rate_hz)
    held: Floats | None = None
    fresh = False
    for block in [samples] if isinstance(samples, np.ndarray) else samples:
        held = block if held is None else np.concatenate([held, block])
        fresh = True
        while len(held) >= chunk + early:
            yield _without_start(held[: chunk + early], early, rate_hz)
            held = held[chunk:]
            fresh = len(held) > early
    if held is None or not len(held):
        raise ValueError("samples must not be empty")
    if fresh:
        yield _without_start(held, min(early, len(held) // 2), rate_hz)


def _without_start(samples: Floats, n_start: int, rate_hz: float) -> tuple[float, Floats]:
    step_s, charge = _charge(samples, rate_hz)
    return step_s, charge[min(round(n_start / rate_hz / step_s), len(charge) - 1) :]


def _charge(samples: Floats, rate_hz: float) -> tuple[float, Floats]:
    """Return the charge of the capacitor at every step, shape (n_steps, n_channels), from rest.

    Long stretches are cut into lanes that run side by side, each started `SETTLING_S` early from rest: the charge
    forgets where it began much faster than that.
    """
    factor = max(1, int(np.ceil(_LOWEST_METER_RATE_HZ / rate_hz)))
    per_frame = max(round(_FRAME_S * rate_hz * factor), 1)
    step_s = per_frame / (rate_hz * factor)
    n_channels, n_steps = samples.shape[1], max(len(samples) * factor // per_frame, 1)
    early, lane = round(SETTLING_S / step_s), round(_LANE_S / step_s)
    if n_steps <= early + lane:
        early, lane = 0, n_steps
    n_lanes = -(-n_steps // lane)
    # float32 halves the memory that this is bound by.
    magnitude = np.zeros((n_channels, (early + n_lanes * lane + 1) * per_frame), dtype=np.float32)
    _weighted_magnitude(samples, rate_hz, factor, magnitude[:, early * per_frame :])
    frames = magnitude.reshape(n_channels, -1, per_frame)
    lanes = np.lib.stride_tricks.sliding_window_view(frames, early + lane, axis=1)[:, ::lane][:, :n_lanes]
    charges = _charged(np.moveaxis(lanes, (3, 0, 1, 2), (0, 1, 2, 3)), step_s)[early:]
    return step_s, charges.transpose(2, 0, 1).reshape(-1, n_channels)[:n_steps]


def _charged(frames: npt.NDArray[np.float32], step_s: float) -> Floats:
    """Return the charge after every frame, (n_steps, n_channels, n_lanes), of (..., samples in a frame)."""
    keep = np.float32(np.exp(-step_s / DISCHARGE_S))
    gain = np.full(frames.shape[3], step_s / CHARGE_S / frames.shape[3], dtype=np.float32)
    charges = np.zeros((len(frames) + 1, *frames.shape[1:3]))
    excess = np.empty(frames.shape[1:], dtype=np.float32)
    for index, frame in enumerate(frames):
        charge = charges[index]
        np.subtract(frame, charge[:, :, None], out=excess, casting="same_kind")
        np.maximum(excess, 0.0, out=excess)
        charges[index + 1] = charge * keep + excess @ gain
    return charges[1:]


def _weighted_magnitude(samples: Floats, rate_hz: float, factor: int, out: npt.NDArray[np.float32]) -> None:
    """Write the rectified output of the weighting network at `factor` times the rate, (n_channels, at least n)."""
    import scipy.fft

    context = round(_CONTEXT_S * rate_hz)
    n_fft = fast_length(round(_PIECE_S * rate_hz) + 2 * context)
    piece = n_fft - 2 * context
    response = itu468_response(scipy.fft.rfftfreq(n_fft, 1.0 / rate_hz))
    if n_fft % 2 == 0:
        response[-1] = 0.0  # half of the bin at the old rate would go missing at the new one
    n_samples = len(samples)
    padded = np.pad(samples.T, ((0, 0), (context, context + piece)))
    for start in range(0, n_samples, piece):
        spectrum = scipy.fft.rfft(padded[:, start : start + n_fft], n_fft, axis=1) * response
        filtered = scipy.fft.irfft(spectrum, n_fft * factor, axis=1) * factor
        stop = min(start + piece, n_samples)
        inside = filtered[:, context * factor : (context + stop - start) * factor]
        # More room than the samples take is left silent; a last frame that is not whole is not used.
        room = out[:, start * factor : stop * factor]
        np.abs(inside[:, : room.shape[1]], out=room, casting="same_kind")


def _sine_charge() -> float:
    """Return the charge that a steady sine of RMS 1 leaves: where charging and discharging balance."""
    # In units of the peak the balance is mean(max(|sin| - v, 0)) / charge = v / discharge; with cos(a) = v
    # the mean over a half wave is (2 / pi) * (sin(a) - a cos(a)).
    low, high = 0.0, np.pi / 2.0
    for _ in range(60):
        angle = (low + high) / 2.0
        charging = (2.0 / np.pi) * (np.sin(angle) - angle * np.cos(angle)) / CHARGE_S
        low, high = (angle, high) if charging < np.cos(angle) / DISCHARGE_S else (low, angle)
    return float(np.sqrt(2.0) * np.cos((low + high) / 2.0))
