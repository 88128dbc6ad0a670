"""Levels while recording: the peak now, the peak held, the highest, and what to do about it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from humcheck.audio.levels import FLOOR_DBFS, amplitude_to_dbfs, rms_to_dbfs

#: Within this of full scale the recording is about to clip.
NEARLY_FULL_DBFS = -1.0
#: A sample this close to full scale has clipped, whatever the recorder's word length.
_CLIPPED = 1.0 - 2.0**-15
#: Peaks should lie between these on the loud tone that tracks begin with (common practice, no source).
AIM_LOW_DBFS, AIM_HIGH_DBFS = -6.0, -3.0
#: Peaks this low may be fine, if the recorder's own noise is this far below them (common practice, no source).
_LOW_DBFS, _ROOM_ABOVE_FLOOR_DB = -12.0, 85.0
#: Less than this above the floor, and nothing but noise arrives.
_NOTHING_ABOVE_FLOOR_DB = 20.0
_HOLD_S = 2.0
#: A track's loud tone has been heard by then, whatever the sound card swallows of its beginning.
_LOUD_AFTER_S = 3.0
_FLOOR_WINDOW_S = 0.2


class LevelMeter:
    """What a level meter with peak hold shows of blocks as they come.

    Parameters
    ----------
    rate_hz : int
        Sampling rate.
    n_channels : int
        Channels of the blocks.

    Attributes
    ----------
    now_dbfs, held_dbfs, highest_dbfs : numpy.ndarray, shape (n_channels,)
        Peak of the last block, the highest of the last two seconds, the highest of all.
    floor_dbfs : float
        Level of the quietest 0.2 s so far, of the noisier channel; before a track plays, the recorder's own noise.
    clipped : int
        Samples at full scale.
    """

    def __init__(self, rate_hz: int, n_channels: int) -> None:
        self._rate_hz = rate_hz
        silent = np.full(n_channels, FLOOR_DBFS)
        self.now_dbfs, self.held_dbfs, self.highest_dbfs = silent, silent.copy(), silent.copy()
        self.floor_dbfs = 0.0
        self.clipped = 0
        self._held_for = np.zeros(n_channels)
        self._energy = np.zeros(n_channels)
        self._windowed = 0
        self._track_s: float | None = None

    def feed(self, samples: npt.NDArray[np.float32]) -> None:
        """Take in one block, shape (n_samples, n_channels), full scale 1.0."""
        if not len(samples):
            return
        size = np.abs(samples)
        peak = size.max(axis=0)
        self.clipped += int(np.count_nonzero(size >= _CLIPPED))
        self.now_dbfs = amplitude_to_dbfs(peak)
        self._held_for += len(samples) / self._rate_hz
        renewed = (self.now_dbfs >= self.held_dbfs) | (self._held_for > _HOLD_S)
        self.held_dbfs = np.where(renewed, self.now_dbfs, self.held_dbfs)
        self._held_for[renewed] = 0.0
        self.highest_dbfs = np.maximum(self.highest_dbfs, self.now_dbfs)
        if self._track_s is None:
            self._feed_floor(samples)
        else:
            self._track_s += len(samples) / self._rate_hz

    def _feed_floor(self, samples: npt.NDArray[np.float32]) -> None:
        self._energy += np.square(samples, dtype=np.float64).sum(axis=0)
        self._windowed += len(samples)
        if self._windowed >= _FLOOR_WINDOW_S * self._rate_hz:
            rms = float(np.sqrt(self._energy.max() / self._windowed))
            self.floor_dbfs = min(self.floor_dbfs, rms_to_dbfs(rms))
            self._energy[:] = 0.0
            self._windowed = 0

    def hold_floor(self) -> None:
        """Keep the floor as it is: from now on a track plays, and sources mute in its silence."""
        self._track_s = 0.0

    @property
    def too_loud(self) -> bool:
        """Whether a peak came within 1 dB of full scale in the last two seconds."""
        return bool(self.held_dbfs.max() >= NEARLY_FULL_DBFS)

    def warning(self) -> str | None:
        """Return what to do at this moment, None if nothing: what was put right is not warned of any longer."""
        if self.too_loud:
            return level_words(float(self.held_dbfs.max()), None, clipped=self.clipped > 0)
        if self.clipped:
            return "The recording has clipped: turn down, and begin again."
        return None if self.highest_dbfs.max() >= NEARLY_FULL_DBFS else self.verdict()

    def verdict(self) -> str | None:
        """Return what to do about the level of the whole, None if nothing; low only once a loud tone has played."""
        loud_tone_played = self._track_s is not None and self._track_s > _LOUD_AFTER_S
        floor_dbfs = self.floor_dbfs if loud_tone_played else None
        return level_words(float(self.highest_dbfs.max()), floor_dbfs, clipped=self.clipped > 0)


def level_words(highest_dbfs: float, floor_dbfs: float | None, *, clipped: bool) -> str | None:
    """Return what to do about the level, as a sentence, or None where it is right.

    Parameters
    ----------
    highest_dbfs : float
        Highest peak of the loud tone.
    floor_dbfs : float or None
        Level of the noise before the track played, None if nothing is known to have played.
    clipped : bool
        Whether samples stood at full scale.
    """
    aim = f"aim for peaks of {AIM_LOW_DBFS:.0f} to {AIM_HIGH_DBFS:.0f} dBFS"
    if clipped:
        return f"The recording clips: turn down, {aim}."
    if highest_dbfs >= NEARLY_FULL_DBFS:
        return f"Within 1 dB of full scale: turn down, {aim}."
    if floor_dbfs is None:
        return None
    above_floor_db = highest_dbfs - floor_dbfs
    if above_floor_db < _NOTHING_ABOVE_FLOOR_DB:
        return "Hardly anything arrives above the noise: look at the leads, the chosen device and the source's volume."
    if highest_dbfs < _LOW_DBFS and above_floor_db < _ROOM_ABOVE_FLOOR_DB:
        return (
            f"Too low: the highest peak, {highest_dbfs:.0f} dBFS, is only {above_floor_db:.0f} dB above the noise "
            f"before the track; turn up by about {(AIM_LOW_DBFS + AIM_HIGH_DBFS) / 2 - highest_dbfs:.0f} dB, {aim}."
        )
    return None
