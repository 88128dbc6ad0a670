"""What systems, recorders and leads do to a take unasked, done to finished sound of shape (n_samples, n_channels).

What a recorder itself does (clipping, automatic gain, a gate, lost samples) is in `humcheck.simulation.recorder`.
"""

from __future__ import annotations

import io

import numpy as np

from humcheck.audio.levels import Floats, db_to_ratio

#: Frames of the noise suppressor.
_FRAME = 512
_CODED_BLOCK = 4096


def repeat_buffer(sound: Floats, start: int, n_samples: int) -> Floats:
    """Return the sound with `n_samples` from `start` on replaced by those just before: a buffer written twice."""
    copied = sound.copy()
    copied[start : start + n_samples] = sound[start - n_samples : start]
    return copied


def clip_then_lower(sound: Floats, cut_db: float, lower_db: float) -> Floats:
    """Return the sound, its loudest peaks cut off by `cut_db`, then all of it turned down by `lower_db`."""
    limit = float(np.abs(sound).max()) * db_to_ratio(-cut_db)
    return np.asarray(np.clip(sound, -limit, limit) * db_to_ratio(-lower_db))


def widen(sound: Floats, share: float) -> Floats:
    """Return stereo with a share of each channel taken off the other: a stereo widening, or (1.0) no common contact."""
    return np.asarray((sound - share * sound[:, ::-1]) / (1.0 + share))


def through_codec(sound: Floats, rate_hz: int, file_format: str, subtype: str, compression: float) -> Floats:
    """Return the sound coded and decoded by libsndfile's codecs.

    Parameters
    ----------
    sound : numpy.ndarray, shape (n_samples, n_channels)
        Full scale = 1.
    rate_hz : int
        A rate that the codec knows.
    file_format, subtype : str
        As soundfile names them: ``("MP3", "MPEG_LAYER_III")``, ``("OGG", "VORBIS")``, ``("OGG", "OPUS")``.
    compression : float
        0 (least) to 1.
    """
    import soundfile

    coded = io.BytesIO()
    with soundfile.SoundFile(
        coded, "w", rate_hz, sound.shape[1], subtype=subtype, format=file_format, compression_level=compression
    ) as file:
        # In small pieces: the Vorbis encoder keeps all that it is given at once on its stack.
        for start in range(0, len(sound), _CODED_BLOCK):
            file.write(sound[start : start + _CODED_BLOCK])
    coded.seek(0)
    decoded, _ = soundfile.read(coded, always_2d=True)
    return np.asarray(decoded, dtype=np.float64)


def suppress_noise(
    sound: Floats, most_db: float, noise: Floats, *, n_frame: int = _FRAME, learnt_times: float = 1.0
) -> Floats:
    """Return the sound with noise suppressed by spectral subtraction, bin by bin.

    Parameters
    ----------
    sound, noise : numpy.ndarray, shape (n_samples, n_channels)
        The sound, and a stretch of its noise alone that the suppressor has learnt.
    most_db : float
        How far a bin is turned down at most.
    n_frame : int
        Samples in a frame.
    learnt_times : float
        The noise taken off is this many times the one learnt.

    Notes
    -----
    S. F. Boll, "Suppression of acoustic noise in speech using spectral subtraction", IEEE Trans. ASSP 27(2), 1979.
    """
    window = np.sin(np.pi * (np.arange(n_frame) + 0.5) / n_frame)
    hop = n_frame // 2
    n_frames = -(-len(sound) // hop) + 1
    padded = np.zeros(((n_frames + 1) * hop, sound.shape[1]))
    padded[hop : hop + len(sound)] = sound
    result = np.zeros_like(padded)
    least = db_to_ratio(-most_db)
    for channel in range(sound.shape[1]):
        frames = np.lib.stride_tricks.sliding_window_view(padded[:, channel], n_frame)[::hop][:n_frames] * window
        learnt = np.lib.stride_tricks.sliding_window_view(noise[:, channel], n_frame)[::hop] * window
        floor = np.sqrt(np.mean(np.abs(np.fft.rfft(learnt, axis=1)) ** 2, axis=0)) * learnt_times
        spectrum = np.fft.rfft(frames, axis=1)
        size = np.maximum(np.abs(spectrum), 1e-30)
        kept = np.fft.irfft(spectrum * np.maximum(1.0 - floor / size, least), n_frame, axis=1) * window
        for index in range(n_frames):
            result[index * hop : index * hop + n_frame, channel] += kept[index]
    return result[hop : hop + len(sound)]


def resample_poorly(sound: Floats, ratio: float, n_points: int) -> Floats:
    """Return the sound at `ratio` times its rate, by a curve through few points: 2 draws straight lines.

    Parameters
    ----------
    sound : numpy.ndarray, shape (n_samples, n_channels)
        Sound at the old rate.
    ratio : float
        New rate over old rate.
    n_points : int
        Even number of points used: 2 for straight lines, more for a windowed sine cardinal.
    """
    n_out = int((len(sound) - 1) * ratio)
    place = np.arange(n_out) / ratio
    whole = np.floor(place).astype(np.intp)
    result = np.zeros((n_out, sound.shape[1]))
    total = np.zeros(n_out)
    for offset in range(1 - n_points // 2, n_points // 2 + 1):
        distance = place - whole - offset
        if n_points == 2:
            weight = 1.0 - np.abs(distance)
        else:
            weight = np.sinc(distance) * np.cos(np.pi * distance / (n_points + 1)) ** 2
        total += weight
        result += weight[:, np.newaxis] * sound[np.clip(whole + offset, 0, len(sound) - 1)]
    return np.asarray(result / total[:, np.newaxis])


def steep_low_cut(sound: Floats, rate_hz: float, corner_hz: float, order: int) -> Floats:
    """Return the sound after a Butterworth high-pass, as microphone inputs and calls have it."""
    from scipy import signal

    return np.asarray(
        signal.sosfilt(signal.butter(order, corner_hz, "highpass", fs=rate_hz, output="sos"), sound, axis=0)
    )
