"""The exact fit of one long chirp: when it arrives, to the Cramer-Rao bound, and how strongly in each take channel.

Model of take channel c: ``gain_c * chirp(time of the sample) + noise``. The chirp is evaluated afresh in every
Gauss-Newton pass; the take is never resampled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.files import TakeFile
from humcheck.takes.chirps import Placement, chirp_and_slope, chirp_frequency_hz
from humcheck.takes.equalized import EqualizedFile
from humcheck.tracks.sections import TrackChannel

Array = NDArray[np.float64]

#: A take channel helps to time a chirp when it carries at least this share of the strongest one's amplitude.
_CARRIES = 0.1
#: Clear of the chirp's soft start, which ends at 556 Hz.
_TONE_BAND_HZ = (560.0, 1600.0)
#: After a move d the next would be of the order d**3: after one as small as this, below 1e-10.
_LINEAR_SAMPLES = 3e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotFit:
    """One long chirp of one marker.

    Attributes
    ----------
    marker_index : int
        Which marker of the track.
    channel : str
        Track channel that the chirp belongs to.
    placement : Placement
        Where the chirp lies in the take.
    track_s : float
        Track time at which its timing is read: where the slope's energy has its centre, so that the reading hardly
        depends on the rate that was assumed.
    take_index : float
        Index at which the take holds that track time.
    gains : numpy.ndarray, shape (n_channels,)
        Amplitude in each take channel, 1 where the take holds the track's own level; negative where inverted.
    tone_gains : numpy.ndarray, shape (n_channels,)
        Size of the gain around 1 kHz alone, whatever a filter does elsewhere; never negative.
    likeness : float
        Share of the energy, 0 to 1, that follows the chirp, in the take channels that carry it.
    first_index : int
        Take index of the first row of `residual`.
    residual : numpy.ndarray, shape (n, n_channels)
        What the chirp leaves of the take.
    slope_unit : numpy.ndarray, shape (n,)
        Derivative of the chirp by take index, the part in phase with the chirp itself removed.
    """

    marker_index: int
    channel: TrackChannel
    placement: Placement
    track_s: float
    take_index: float
    gains: Array
    tone_gains: Array
    likeness: float
    first_index: int
    residual: Array
    slope_unit: Array

    def information(self) -> float:
        """Return the Fisher information on the arrival, per square sample, in noise of unit variance."""
        return float(np.sum(self.timing_gains() ** 2) * np.sum(self.slope_unit**2))

    def timing_gains(self) -> Array:
        """Return `gains` with those take channels set to zero that do not carry the chirp."""
        return np.where(np.abs(self.gains) >= _CARRIES * np.abs(self.gains).max(), self.gains, 0.0)

    def coherence(self) -> float:
        """Return the gain of the whole chirp re that around 1 kHz: 1 where clock and path leave its phase alone."""
        tone = float(np.max(self.tone_gains))
        return float(np.abs(self.gains).max()) / tone if tone > 0.0 else 1.0


def fit_slot(
    file: TakeFile | EqualizedFile,
    marker_index: int,
    channel: TrackChannel,
    chirp_track_s: float,
    placement: Placement,
    n_passes: int = 4,
) -> SlotFit | None:
    """Fit one long chirp from a start that is right to a fraction of a cycle.

    Parameters
    ----------
    file : TakeFile or EqualizedFile
        The take.
    marker_index : int
        Kept in the result.
    channel : str
        Track channel of the chirp.
    chirp_track_s : float
        Track time at which the chirp starts.
    placement : Placement
        First guess; its rate is kept.
    n_passes : int, optional
        Most Gauss-Newton passes.

    Returns
    -------
    SlotFit or None
        None where the chirp does not lie wholly inside the take, or nothing follows it.
    """
    first, stop = placement.span()
    if first < 1 or stop > file.n_samples - 1:
        return None
    # One more sample on either side: the start moves a little.
    first, stop = first - 1, stop + 1
    samples = file.read(first, stop)
    shape, slope = _template(channel, placement, first, stop - first)
    for _ in range(n_passes):
        gains, move = _pass(samples, shape, slope)
        if not np.isfinite(move):
            return None
        placement = placement._replace(start_index=placement.start_index + move)
        if abs(move) < _LINEAR_SAMPLES:
            # So little that the straight line along the slope will do.
            shape = shape - move * slope
            break
        shape, slope = _template(channel, placement, first, stop - first)
    return _result(marker_index, channel, chirp_track_s, placement, first, samples, shape, slope)


def _template(channel: TrackChannel, placement: Placement, first: int, n_samples: int) -> tuple[Array, Array]:
    """Return the chirp and its derivative by take index."""
    rate_hz = placement.samples_per_s
    shape, slope = chirp_and_slope(channel, placement.time_s(first, n_samples), rate_hz)
    return shape, slope / rate_hz


def _pass(samples: Array, shape: Array, slope: Array) -> tuple[Array, float]:
    """Return the gains, and by how many samples later the chirp lies than was assumed."""
    energy = float(shape @ shape)
    if energy <= 0.0:
        return np.zeros(samples.shape[1]), float("nan")
    gains = samples.T @ shape / energy
    gains = np.where(np.abs(gains) >= _CARRIES * np.abs(gains).max(), gains, 0.0)
    across = slope - shape * ((shape @ slope) / energy)
    # d(model)/d(start) is minus the slope.
    pull = -float(gains @ (samples.T @ across))
    information = float(gains @ gains) * float(across @ across)
    return gains, pull / information if information > 0.0 else float("nan")


def _result(
    marker_index: int,
    channel: TrackChannel,
    chirp_track_s: float,
    placement: Placement,
    first: int,
    samples: Array,
    shape: Array,
    slope: Array,
) -> SlotFit | None:
    energy = float(shape @ shape)
    if energy <= 0.0:
        return None  # the last move led away from the chirp
    gains = samples.T @ shape / energy
    across = slope - shape * ((shape @ slope) / energy)
    carried = np.abs(gains) >= _CARRIES * np.abs(gains).max()
    total = float(np.sum(samples[:, carried] ** 2))
    if total <= 0.0:
        return None
    time_s = placement.time_s(first, len(samples))
    centre_s = float(np.sum(time_s * across**2) / np.sum(across**2))
    return SlotFit(
        marker_index=marker_index,
        channel=channel,
        placement=placement,
        track_s=chirp_track_s + centre_s,
        take_index=placement.start_index + centre_s * placement.samples_per_s,
        gains=gains,
        tone_gains=_gains_around_tone(channel, samples, shape, slope * placement.samples_per_s, time_s),
        likeness=float(np.sum(gains[carried] ** 2)) * energy / total,
        first_index=first,
        residual=samples - shape[:, None] * gains[None, :],
        slope_unit=across,
    )


def _gains_around_tone(channel: TrackChannel, samples: Array, shape: Array, slope: Array, time_s: Array) -> Array:
    """Return the size of the gain while the chirp passes through the band around 997 Hz."""
    frequency_hz = chirp_frequency_hz(channel, time_s)
    low_hz, high_hz = _TONE_BAND_HZ
    near = np.flatnonzero((frequency_hz > low_hz) & (frequency_hz < high_hz))
    taper = np.sin(np.pi * (frequency_hz[near] - low_hz) / (high_hz - low_hz))
    # The chirp and its quarter-cycle partner: both, because a filter turns the phase.
    pair = np.stack([shape[near], slope[near] / (2.0 * np.pi * frequency_hz[near])]) * taper
    products = pair @ pair.T
    if np.linalg.det(products) <= 0.0:
        return np.zeros(samples.shape[1])  # the chirp is so cut or so fast that the band is not in it
    parts = np.linalg.solve(products, pair @ (samples[near] * taper[:, None]))
    return np.asarray(np.hypot(parts[0], parts[1]))
