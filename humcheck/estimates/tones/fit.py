"""Level, frequency and phase of steady tones, with their standard uncertainties.

Maximum likelihood for tones in white noise but for a weight with short soft edges: the bounds of Rife and Boorstyn are
reached to a few percent, and hum, harmonics and a constant in the same section leak in by less than -100 dB.

References
----------
.. [1] D. C. Rife, R. R. Boorstyn, "Single-tone parameter estimation from discrete-time observations", IEEE Trans.
   Information Theory 20(5), 1974.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from humcheck.audio.levels import amplitude_to_dbfs
from humcheck.errors import MeasurementError
from humcheck.estimates.tones.blocks import Complexes, Floats, block_grid
from humcheck.estimates.tones.lock import HIGHEST_ORDER, Lock, TrackTime, line_slope, lock_to_tones, rate_sd
from humcheck.estimates.tones.movement import Movement, movement
from humcheck.estimates.tones.residual import density_in_blocks
from humcheck.estimates.tones.steadiness import steady_stretch

#: A small relative uncertainty in decibels: 20 lg e.
DB_PER_NEPER = float(20.0 / np.log(10.0))
#: A tone counts as heard where its power is this many times the variance that noise gives it (false alarm 2e-9).
HEARD = 20.0
LEAST_S = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class ToneFit:
    """Steady tones as received.

    Attributes
    ----------
    frequency_hz : numpy.ndarray, shape (n_tones,)
        Frequencies by the track's clock, as asked for.
    received_hz, received_sd_hz : numpy.ndarray, shape (n_tones,)
        Frequencies by the take's nominal clock, and their standard uncertainty from noise.
    amplitude : numpy.ndarray, shape (n_tones, n_channels)
        Complex peak amplitudes, full scale = 1, phase re ``cos(2 pi f t)`` of the track time given.
    noise : numpy.ndarray, shape (n_tones, n_channels)
        Variance of the complex amplitudes from noise.
    density : numpy.ndarray, shape (n_tones, n_channels)
        Noise density beside the tones, mean square per Hz.
    used_s, offered_s : float
        Length of sound that was used, of what was offered: a start or an end at another level is left out.
    movement : Movement
        How the level of the strongest tone moves over the stretch used.
    """

    frequency_hz: Floats
    received_hz: Floats
    received_sd_hz: Floats
    amplitude: Complexes
    noise: Floats
    density: Floats
    used_s: float
    offered_s: float
    movement: Movement

    @property
    def power(self) -> Floats:
        """Squared amplitudes, what noise adds taken off; shape (n_tones, n_channels)."""
        return np.asarray(np.abs(self.amplitude) ** 2 - self.noise)

    @property
    def level_dbfs(self) -> Floats:
        """Levels in dBFS, shape (n_tones, n_channels)."""
        return amplitude_to_dbfs(np.sqrt(np.maximum(self.power, 0.0)))

    @property
    def level_sd_db(self) -> Floats:
        """Standard uncertainties of the levels from noise, in dB, shape (n_tones, n_channels)."""
        return np.asarray(DB_PER_NEPER * np.sqrt(0.5 * self.noise / np.maximum(self.power, 1e-40)))

    @property
    def heard(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Whether each tone is there beyond doubt, shape (n_tones, n_channels)."""
        return np.asarray(np.abs(self.amplitude) ** 2 > HEARD * self.noise)


def fit_tones(
    samples: Floats,
    rate_hz: float,
    frequency_hz: float | Sequence[float],
    *,
    track_time: TrackTime | None = None,
    order: int = HIGHEST_ORDER,
) -> ToneFit:
    """Measure steady tones.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n_samples, n_channels)
        Section with the tones sounding, full scale = 1.
    rate_hz : float
        Sampling rate.
    frequency_hz : float or sequence of float
        Frequencies of the tones by the track's clock; they share that clock.
    track_time : callable, optional
        Track time in seconds at sample indices (an array) of the section. By default the take's nominal time; the
        frequency is then found within 2000 ppm.
    order : int, optional
        Freedom of the clock within the section: 0 as given, 1 frequency, more for wander. Weak tones get less.

    Returns
    -------
    ToneFit

    Raises
    ------
    MeasurementError
        If there is less than 0.2 s of sound.
    """
    return follow_tones(samples, rate_hz, frequency_hz, track_time=track_time, order=order)[0]


def follow_tones(
    samples: Floats,
    rate_hz: float,
    frequency_hz: float | Sequence[float],
    *,
    track_time: TrackTime | None = None,
    order: int = HIGHEST_ORDER,
) -> tuple[ToneFit, Lock, slice]:
    """Measure steady tones and return the clock along them as well, and the stretch of `samples` that it holds for.

    Parameters as for `fit_tones`.
    """
    frequencies = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    offered = len(samples)
    if offered < LEAST_S * rate_hz:
        raise MeasurementError(f"A tone of {offered / rate_hz:.2f} s is too short; {LEAST_S} s are needed.")
    grid = block_grid(offered, rate_hz)
    lock = lock_to_tones(samples, frequencies, grid, track_time=track_time, order=order)
    steady = slice(*steady_stretch(lock.hann_sums, lock.grid, frequencies))
    if (steady.start, steady.stop) != (0, offered):
        grid = block_grid(steady.stop - steady.start, rate_hz)
        shifted = _shifted(track_time, steady.start)
        lock = lock_to_tones(samples[steady], frequencies, grid, track_time=shifted, order=order)
    density = density_in_blocks(lock.grid, lock.hann_sums, lock.amplitude)
    received = frequencies * line_slope(lock.path, lock.grid) * rate_hz
    fit = ToneFit(
        frequency_hz=frequencies,
        received_hz=received,
        received_sd_hz=received * (rate_sd(lock, density) if lock.order else 0.0),
        amplitude=lock.amplitude,
        noise=density * lock.grid.noise_gain,
        density=density,
        used_s=(steady.stop - steady.start) / rate_hz,
        offered_s=offered / rate_hz,
        movement=_movement_of(lock),
    )
    return fit, lock, steady


def _movement_of(lock: Lock) -> Movement:
    strongest = int(np.argmax(np.abs(lock.amplitude).max(axis=1)))
    return movement(lock.hann_sums[strongest], lock.grid.weight @ lock.grid.hann)


def _shifted(track_time: TrackTime | None, start: int) -> TrackTime | None:
    return None if track_time is None else lambda index: track_time(index + start)
