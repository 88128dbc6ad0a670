"""True values of what can be measured in a simulated take: they follow from its parameters, not from its samples."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from humcheck.audio.dither import step_size
from humcheck.audio.levels import Floats, dbfs_to_amplitude, power_to_dbfs, ratio_to_db
from humcheck.simulation.clocks import Counter, TimeMap
from humcheck.simulation.components import Complexes
from humcheck.simulation.noise import BAND_HIGH_HZ, BAND_LOW_HZ
from humcheck.simulation.path import PathModel
from humcheck.simulation.recorder import Splice

TONE_HZ = 997.0

#: Moments at which hum that swells is looked at.
_SWELL_POINTS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """True values of a simulated take.

    Arrays have shape (2,): left and right channel of the take. Gain control and gate are not in them.

    Attributes
    ----------
    path : PathModel
        The parameters.
    rate_hz : int
        Nominal rate of the take.
    n_samples : int
        Its length before any loss.
    offset_s, drift_ppm : float
        Where source time 0 stands, over the nominal rate; mean drift from the source's start to its end.
    clock : TimeMap
        Source time at each take sample, before any loss.
    mains_cycles : Counter
        Cycles of the mains along the take.
    source_bits, source_rate_hz : int or None, int
        Word length (its dither is part of the hiss; None without) and rate of the source.
    """

    path: PathModel
    rate_hz: int
    n_samples: int
    offset_s: float
    drift_ppm: float
    clock: TimeMap
    mains_cycles: Counter
    source_bits: int | None
    source_rate_hz: int

    def take_index(self, source_time_s: Floats) -> Floats:
        """Return the (fractional) samples in the file that hold source times; lost ones stand at their splice."""
        return self.path.recorder.file_index(self.clock.take_index(source_time_s), self.rate_hz)

    @property
    def splices(self) -> tuple[Splice, ...]:
        """Samples lost or inserted."""
        return self.path.recorder.splices

    @property
    def channel_map(self) -> str:
        """Wiring."""
        return self.path.linear.channel_map

    # Response -------------------------------------------------------------------------------------------------------

    def transfer(self, frequency_hz: Floats) -> Complexes:
        """Return the complex gain without delay, shape (n_frequencies, 2 take channels, 2 source channels)."""
        return self.path.linear.matrix(frequency_hz)

    def response_db(self, frequency_hz: Floats) -> Floats:
        """Return the gain of each channel driven alone in dB, shape (n_frequencies, 2)."""
        return np.asarray(ratio_to_db(np.abs(np.einsum("fcc->fc", self.transfer(frequency_hz)))))

    def crosstalk_db(self, frequency_hz: Floats) -> Floats:
        """Return idle re driven channel in dB, shape (n_frequencies, 2), second axis: the idle channel."""
        matrix = np.abs(self.transfer(frequency_hz))
        idle_left = matrix[:, 0, 1] / matrix[:, 1, 1]
        idle_right = matrix[:, 1, 0] / matrix[:, 0, 0]
        return ratio_to_db(np.stack([idle_left, idle_right], axis=1))

    @property
    def gain_db(self) -> Floats:
        """Gain of small signals at 997 Hz, each channel driven alone."""
        return np.asarray(self.response_db(np.array([TONE_HZ]))[0])

    def tone_gain_db(self, source_dbfs: float) -> Floats:
        """Return the gain for a 997 Hz sine of some level, each channel alone: a bent curve changes it a little."""
        gain_db = self.gain_db
        if self.path.distortion is None:
            return gain_db
        amplitude = dbfs_to_amplitude(source_dbfs + gain_db)
        fundamental = [self.path.distortion.harmonics(float(value))[0] for value in amplitude]
        return np.asarray(gain_db + ratio_to_db(np.array(fundamental) / amplitude))

    @property
    def balance_db(self) -> float:
        """Left minus right gain at 997 Hz."""
        return float(self.gain_db[0] - self.gain_db[1])

    @property
    def polarity(self) -> Floats:
        """Sign of each channel's path."""
        return np.array([self.path.linear.left.polarity, self.path.linear.right.polarity], dtype=np.float64)

    @property
    def crosstalk_1k_db(self) -> Floats:
        """Crosstalk at 1000 Hz; index: the idle channel."""
        return np.asarray(self.crosstalk_db(np.array([1000.0]))[0])

    def thd_percent(self, source_dbfs: float) -> Floats:
        """Return the distortion of a 997 Hz sine of some level in the source, driven in both channels."""
        if self.path.distortion is None:
            return np.zeros(2)
        gain = np.abs(self.transfer(np.array([TONE_HZ]))[0].sum(axis=1))
        amplitude = dbfs_to_amplitude(source_dbfs)
        return np.array([self.path.distortion.thd_percent(float(amplitude * g)) for g in gain])

    # Lines ----------------------------------------------------------------------------------------------------------

    def hum_amplitudes(self, highest_hz: float = BAND_HIGH_HZ) -> Complexes:
        """Return the mains harmonics up to a frequency (unmodulated part), shape (n_harmonics, 2)."""
        n_harmonics = int(highest_hz / self.path.mains.frequency_hz)
        total = np.zeros((n_harmonics, 2), dtype=np.complex128)
        for hum in self.path.hum:
            total += hum.channel_amplitudes(n_harmonics)
        return total

    @property
    def hum_level_dbfs(self) -> Floats:
        """RMS sum of the mains family up to 20 kHz, its slow swelling left out."""
        return _level(self.hum_amplitudes())

    def hum_level_between_dbfs(self, start_s: float, stop_s: float) -> Floats:
        """Return the RMS sum of the mains family up to 20 kHz between two source times, its swelling included."""
        first, last = self.clock.take_index(np.array([start_s, stop_s]))
        time_s = np.linspace(first, last, _SWELL_POINTS) / self.rate_hz
        n_harmonics = int(BAND_HIGH_HZ / self.path.mains.frequency_hz)
        total = np.zeros((time_s.size, n_harmonics, 2), dtype=np.complex128)
        for hum in self.path.hum:
            total += hum.swing(time_s)[:, np.newaxis, np.newaxis] * hum.channel_amplitudes(n_harmonics)
        return np.asarray(power_to_dbfs(np.mean(np.sum(np.abs(total) ** 2, axis=1), axis=0) / 2))

    def hum_frequency_hz(self, start_s: float, stop_s: float) -> float:
        """Return the mean mains frequency between two source times, in the take's nominal clock."""
        first, last = self.clock.take_index(np.array([start_s, stop_s]))
        cycles = self.mains_cycles.at(np.array([first, last]))
        return float((cycles[1] - cycles[0]) / (last - first) * self.rate_hz)

    def hum_wander_mhz(self, start_s: float, stop_s: float) -> float:
        """Return the standard deviation of whole 1 s means of the mains frequency between two source times."""
        first, last = self.clock.take_index(np.array([start_s, stop_s]))
        index = np.arange(first, last, self.rate_hz, dtype=np.float64)
        return float(1000 * np.std(np.diff(self.mains_cycles.at(index)), ddof=1))

    def mains_track_hz(self, take_time_s: Floats) -> Floats:
        """Return the mains frequency at take times, in the take's nominal clock."""
        return self.mains_cycles.rate_at(np.asarray(take_time_s) * self.rate_hz) * self.rate_hz

    def in_take_clock_hz(self, frequency_hz: float, start_s: float | None = None, stop_s: float | None = None) -> float:
        """Return what a frequency that is steady in true time measures in the take's nominal clock, on average.

        Parameters
        ----------
        frequency_hz : float
            In true time.
        start_s, stop_s : float, optional
            Between these source times; the ends of the take without them.
        """
        first = 0.0 if start_s is None else float(self.clock.take_index(np.array([start_s]))[0])
        last = float(self.n_samples) if stop_s is None else float(self.clock.take_index(np.array([stop_s]))[0])
        cycles = self.clock.true_counter(frequency_hz).at(np.array([first, last]))
        return float((cycles[1] - cycles[0]) / (last - first) * self.rate_hz)

    def picture_amplitudes(self, highest_hz: float = BAND_HIGH_HZ) -> Complexes:
        """Return the picture's lines at multiples of its repeat rate, shape (n_harmonics, 2)."""
        if self.path.picture is None:
            return np.zeros((0, 2), dtype=np.complex128)
        return self.path.picture.amplitudes(min(highest_hz, 0.49 * self.rate_hz))

    @property
    def buzz_level_dbfs(self) -> Floats:
        """RMS sum of the picture's lines up to 20 kHz, multiples of the line rate left out."""
        lines, is_line_rate = self._picture_lines()
        return _level(lines[~is_line_rate])

    @property
    def whistle_level_dbfs(self) -> Floats:
        """RMS sum of the multiples of the line rate that reach the file, whatever their frequency."""
        lines, is_line_rate = self._picture_lines(self.rate_hz / 2)
        return _level(lines[is_line_rate])

    @property
    def buzz_frequency_hz(self) -> float | None:
        """Field rate in the take's nominal clock, mean over the take."""
        if self.path.picture is None:
            return None
        return self.in_take_clock_hz(self.path.picture.timing.field_rate_hz)

    @property
    def whistle_frequency_hz(self) -> float | None:
        """Line rate in the take's nominal clock, mean over the take."""
        if self.path.picture is None:
            return None
        return self.in_take_clock_hz(self.path.picture.timing.line_rate_hz)

    def _picture_lines(self, highest_hz: float = BAND_HIGH_HZ) -> tuple[Complexes, npt.NDArray[np.bool_]]:
        lines = self.picture_amplitudes(highest_hz)
        per_period = 1 if self.path.picture is None else self.path.picture.timing.lines_per_period
        return lines, np.arange(1, lines.shape[0] + 1) % per_period == 0

    @property
    def picture_coupling_dbfs(self) -> Floats:
        """Level at which a luma sine of full swing at 1 kHz would stand in the sound."""
        picture = self.path.picture
        gain = np.zeros(2, dtype=np.complex128)
        for leak in () if picture is None else picture.leaks:
            gain += leak.gain(np.array([1000.0]))[0]
        return ratio_to_db(np.abs(gain) / 2)

    @property
    def digital_level_dbfs(self) -> Floats:
        """RMS sum of the frame comb up to 20 kHz."""
        frames = self.path.frames
        return _level(np.zeros((0, 2), dtype=np.complex128) if frames is None else frames.amplitudes(BAND_HIGH_HZ))

    # Noise ----------------------------------------------------------------------------------------------------------

    @property
    def hiss_level_dbfs(self) -> Floats:
        """Noise in 20 Hz - 20 kHz while the track is silent: hiss, dither of the source file, rounding."""
        total = np.zeros(2)
        for hiss in (*self.path.hiss, *(() if self.path.source_hiss is None else (self.path.source_hiss,))):
            total += hiss.band_mean_square(self.rate_hz)
        if self.source_bits is not None:
            gain = np.sum(np.abs(self.transfer(np.array([TONE_HZ]))[0]) ** 2, axis=1)
            total += gain * _rounding_mean_square(self.source_bits, self.source_rate_hz, dithered=True)
        recorder = self.path.recorder
        if recorder.bits is not None:
            total += _rounding_mean_square(recorder.bits, self.rate_hz, dithered=recorder.dither)
        return power_to_dbfs(total)


def response_delta_db(through: Truth, direct: Truth, frequency_hz: Floats) -> Floats:
    """Return through over direct in dB, shape (n_frequencies, 2)."""
    return np.asarray(through.response_db(frequency_hz) - direct.response_db(frequency_hz))


def low_corner_hz(through: Truth, direct: Truth, channel: int, *, at_least_hz: float = 0.5) -> float:
    """Return the highest frequency below 997 Hz at which through over direct is 3.01 dB down re 997 Hz.

    Parameters
    ----------
    through, direct : Truth
        The two takes.
    channel : int
        0 left, 1 right.
    at_least_hz : float
        Where the search ends.

    Raises
    ------
    ValueError
        If there is no such frequency above `at_least_hz`.
    """
    from scipy.optimize import brentq

    half_power_db = 10 * math.log10(2)

    def excess_db(log_frequency: float) -> float:
        pair = response_delta_db(through, direct, np.array([math.exp(log_frequency), TONE_HZ]))[:, channel]
        return float(pair[0] - pair[1] + half_power_db)

    low, high = math.log(at_least_hz), math.log(TONE_HZ)
    if excess_db(low) > 0:
        raise ValueError(f"through over direct is not 3.01 dB down above {at_least_hz} Hz")
    return math.exp(brentq(excess_db, low, high, xtol=1e-9))


def _level(amplitudes: Complexes) -> Floats:
    return np.asarray(power_to_dbfs(np.sum(np.abs(amplitudes) ** 2, axis=0) / 2))


def _rounding_mean_square(bits: int, rate_hz: float, *, dithered: bool) -> float:
    """Return the share of 20 Hz - 20 kHz in step^2/4 (triangular dither and rounding) or step^2/12 (rounding)."""
    total = step_size(bits) ** 2 / (4 if dithered else 12)
    return total * (min(BAND_HIGH_HZ, rate_hz / 2) - BAND_LOW_HZ) / (rate_hz / 2)
