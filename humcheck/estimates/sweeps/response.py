"""Complex response of a path from one recorded sweep: the driven channel, the idle one, and distortion by order."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from humcheck.errors import MeasurementError
from humcheck.estimates.sweeps.deconvolution import Floats, SectionSound, idle_re_driven, path_spectrum
from humcheck.estimates.sweeps.distortion import Distortion, estimate_distortion
from humcheck.estimates.sweeps.gains import Gain, PathBands, path_bands, read_gain
from humcheck.estimates.sweeps.grid import FREQUENCIES_HZ, IN_SERIES, REFERENCE_HZ, Flags, index_of
from humcheck.estimates.sweeps.windows import LEAK, LEAK_SHORT, RESPONSE
from humcheck.results.rows import Channel
from humcheck.tracks.sections import TrackChannel

#: What to ask of `Take.section` around a sweep: silence to fade the record in, and what rings on after the sweep.
BEFORE_S = 0.2
AFTER_S = 0.7
#: Responses end at this share of the sampling rate; from 0.48 on the track itself is faded out.
USABLE_SHARE = 0.472
#: The direct signal must stand this far above its noise for a frequency to be valid.
VALID_ABOVE_NOISE_DB = 20.0
#: Below this, re 997 Hz, windows read the neighbourhood rather than the frequency itself.
VALID_ABOVE_REFERENCE_DB = -40.0
#: The valid band ends where this many neighbouring points fail (a quarter of an octave); fewer are holes in it.
FAILURES_THAT_END = 3

KILOHERTZ = 1000.0
#: Crosstalk at 1 kHz this well known (0.06 dB) needs no smoothing.
CLEAR_SHARE = 0.01
LEAK_SHORT_BAND_RATIO = 5.0

#: What the method leaves without noise, in dB by frequency in Hz, on high-passes of 3 to 40 Hz: the low end of a sweep
#: is not sharp, the less so the faster it is.
SLOW_SWEEP_S = 1.2
METHOD_SD_DB_SLOW = ((8.0, 6e-4), (10.0, 3e-4), (11.0, 6e-5), (20.0, 3e-5), (30.0, 2e-5))
METHOD_SD_DB_FAST = ((8.0, 1e-2), (10.0, 1e-2), (11.0, 3e-3), (13.0, 3e-4), (20.0, 5e-5), (30.0, 3e-5))
#: The same at the upper end, by share of the highest usable frequency.
METHOD_SD_DB_TOP = ((0.94, 0.0), (1.0, 2e-3))
HIGHEST_SWEPT_HZ = 22660.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseEstimate:
    """What one sweep tells about a path.

    Attributes
    ----------
    driven : str
        The channel that the sweep is in: ``"left"``, ``"right"`` or ``"mono"``.
    idle : str or None
        The other channel of the take; None where it has no other.
    frequency_hz : numpy.ndarray, shape (n_f,)
        In hertz of the track's clock: the first n_f points of `FREQUENCIES_HZ`.
    gain : Gain
        Driven channel re the track.
    crosstalk : Gain or None
        Idle channel re driven channel.
    crosstalk_1k : Gain or None
        The same at 1000 Hz alone; near the noise it is read through the shortest of windows.
    distortion : tuple of Distortion
        Orders 2 to 5 in the driven channel, over the frequencies of the series.
    delay_s : float
        Where the peak of the impulse response stands re the alignment.
    method_sd_db : numpy.ndarray, shape (n_f,)
        Standard uncertainty in dB that the method itself leaves in a ratio of two takes without any noise.
    """

    driven: Channel
    idle: Channel | None
    frequency_hz: Floats
    gain: Gain
    crosstalk: Gain | None
    crosstalk_1k: Gain | None
    distortion: tuple[Distortion, ...]
    delay_s: float
    method_sd_db: Floats

    def valid(self) -> Flags:
        """Return where the driven channel's signal is far enough above noise, inside one band around 997 Hz."""
        return valid_points(self.gain)


def estimate_response(sound: SectionSound, driven: TrackChannel) -> ResponseEstimate:
    """Estimate the response of a path from one recorded sweep.

    Parameters
    ----------
    sound : SectionSound
        The sweep's section of a take, best with `BEFORE_S` and `AFTER_S` of the silence around it.
    driven : str
        The track channel that the sweep is in.

    Returns
    -------
    ResponseEstimate
        With standard uncertainties.

    Raises
    ------
    MeasurementError
        If the sweep does not arrive in the driven channel, or the take's rate is too low for 997 Hz.
    """
    top_hz = min(USABLE_SHARE * sound.rate_hz, HIGHEST_SWEPT_HZ)
    frequency_hz = FREQUENCIES_HZ[top_hz >= FREQUENCIES_HZ]
    if top_hz < 2 * REFERENCE_HZ:
        raise MeasurementError(f"the take's sampling rate of {sound.rate_hz:g} Hz is too low for a response")
    column = _driven_column(sound.channels, driven)
    bands = path_bands(
        idle_re_driven(path_spectrum(sound, driven), column), min(top_hz, float(FREQUENCIES_HZ[-1])), column
    )
    gain = read_gain(bands, column, frequency_hz, RESPONSE, centre_s=bands.delay_s)
    if not valid_points(gain).any():
        raise MeasurementError(f"the sweep does not arrive in the {sound.channels[column]} channel")
    in_series = IN_SERIES[: frequency_hz.size]
    one_channel = len(sound.channels) == 1
    crosstalk = None if one_channel else read_gain(bands, 1 - column, frequency_hz, LEAK)
    return ResponseEstimate(
        driven=_channel(sound, column),
        idle=None if one_channel else _channel(sound, 1 - column),
        frequency_hz=frequency_hz,
        gain=gain,
        crosstalk=crosstalk,
        crosstalk_1k=None if crosstalk is None else _crosstalk_1k(bands, 1 - column, crosstalk),
        distortion=estimate_distortion(bands, column, frequency_hz[in_series], np.abs(gain.value[in_series]) ** 2),
        delay_s=bands.delay_s,
        method_sd_db=_method_sd_db(frequency_hz, bands.law.time_constant_s, top_hz),
    )


def _crosstalk_1k(bands: PathBands, idle_row: int, crosstalk: Gain) -> Gain:
    index = index_of(KILOHERTZ)
    if crosstalk.sd[index] < CLEAR_SHARE * np.abs(crosstalk.value[index]):
        only = slice(index, index + 1)
        return Gain(
            value=crosstalk.value[only],
            sd=crosstalk.sd[only],
            freedom=crosstalk.freedom[only],
            noise_sd=crosstalk.noise_sd[only],
        )
    return read_gain(bands, idle_row, np.array([KILOHERTZ]), LEAK_SHORT, band_ratio=LEAK_SHORT_BAND_RATIO)


def _method_sd_db(frequency_hz: Floats, time_constant_s: float, top_hz: float) -> Floats:
    low_hz, low_db = np.array(METHOD_SD_DB_SLOW if time_constant_s >= SLOW_SWEEP_S else METHOD_SD_DB_FAST).T
    share, high_db = np.array(METHOD_SD_DB_TOP).T
    low = np.interp(np.log(frequency_hz), np.log(low_hz), low_db)
    return np.asarray(low + np.interp(frequency_hz / top_hz, share, high_db))


def valid_points(gain: Gain) -> Flags:
    """Return where a gain is known well enough to divide by.

    Parameters
    ----------
    gain : Gain
        Over the first n_f points of `FREQUENCIES_HZ`.

    Returns
    -------
    numpy.ndarray of bool, shape (n_f,)
        One band around 997 Hz; single frequencies that a hum line hides are holes in it. All False without a sweep.
    """
    reference = index_of(REFERENCE_HZ)
    power = np.abs(gain.value) ** 2
    known = (power > 0.0) & (power >= 10.0 ** (VALID_ABOVE_NOISE_DB / 10.0) * gain.sd**2)
    known &= power >= 10.0 ** (VALID_ABOVE_REFERENCE_DB / 10.0) * power[reference]
    if not known[reference]:
        return np.zeros_like(known)
    known[reference:] &= ~_after_failures(known[reference:])
    known[: reference + 1] &= ~_after_failures(known[reference::-1])[::-1]
    return np.asarray(known)


def _after_failures(known: Flags) -> Flags:
    """Return where `FAILURES_THAT_END` neighbours in a row have failed already."""
    failed_runs = np.convolve(~known, np.ones(FAILURES_THAT_END))[: known.size] >= FAILURES_THAT_END
    return np.asarray(np.maximum.accumulate(failed_runs))


def _driven_column(channels: tuple[str, ...], driven: TrackChannel) -> int:
    if driven in channels:
        return channels.index(driven)
    if len(channels) == 1:
        return 0
    raise ValueError(f"driven is {driven!r}; the section has the channels {channels}")


def _channel(sound: SectionSound, column: int) -> Channel:
    name = sound.channels[column]
    if name == "left":
        return "left"
    return "right" if name == "right" else "mono"
