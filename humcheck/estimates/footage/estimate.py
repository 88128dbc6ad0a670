"""What a recording tells of the picture of its own video file."""

from __future__ import annotations

from dataclasses import dataclass

from humcheck.audio.levels import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FootageEstimate:
    """How the sound follows the picture.

    Attributes
    ----------
    found : bool
        Whether the changes of the picture are found in the sound.
    p_value : float
        Chance that a sound without them matches as well, taken from how well they match at lags that cannot be.
    line_tone_found : bool
        Whether at least a tone is heard at a line rate that goes with the frames.
    lag_s : float
        By how much the first row of a frame is drawn after the frame's time stamp.
    lag_probability, field_probability : float
        That this is the place to the sample, and that it is the right field; nan where nothing is found.
    line_rate_hz, lines_per_field, scale : float
        How the picture was drawn; height of the frame over that of a field of the standard.
    weave : str
        How fields became frames.
    level_dbfs, low_dbfs, high_dbfs : numpy.ndarray, shape (n_ch,)
        Level at 1 kHz of a luma sine of full swing, with its 95 % interval; -inf where nothing is found.
    bound_dbfs : numpy.ndarray, shape (n_ch,)
        What a leak that is not found may have at most, one-sided 95 %.
    share : numpy.ndarray, shape (n_ch,)
        Share of the power in 8-20 kHz that follows the picture.
    quiet_share, quiet_share_sd : numpy.ndarray, shape (n_ch,), or None
        Share of a quiet stretch's energy, 100 Hz to 8 kHz without mains, that follows the picture; None without one.
    moments_s, moments_dbfs : numpy.ndarray, shape (n_blocks,)
        Beginnings of seconds, and the level of the leak up to 20 kHz in each, of the loudest channel.
    """

    found: bool
    p_value: float
    line_tone_found: bool
    lag_s: float
    lag_probability: float
    field_probability: float
    line_rate_hz: float
    lines_per_field: float
    scale: float
    weave: str
    level_dbfs: Floats
    low_dbfs: Floats
    high_dbfs: Floats
    bound_dbfs: Floats
    share: Floats
    quiet_share: Floats | None
    quiet_share_sd: Floats | None
    moments_s: Floats
    moments_dbfs: Floats
