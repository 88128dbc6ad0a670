"""Levels in decibels: the one place where dBFS is defined.

0 dBFS is the RMS of a sine whose positive peak just reaches full scale (AES17). Full scale is 1.0, so a full-scale sine
has a mean square of 1/2 and reads 0 dBFS; a full-scale square wave reads +3.01 dBFS. Every function takes a number or
an array and returns the same shape. What has no level (digital silence) reads `FLOOR_DBFS`, never minus infinity.

References
----------
.. [1] AES17-2015, definition of full-scale level: RMS of a full-scale 997 Hz sine.
"""

from __future__ import annotations

from typing import Any, overload

import numpy as np
import numpy.typing as npt

#: Reading of digital silence, in dBFS. Far below anything that 64-bit samples of music can hold.
FLOOR_DBFS = -400.0

#: Mean square of a full-scale sine, the reference of 0 dBFS.
FULL_SCALE_MEAN_SQUARE = 0.5

Floats = npt.NDArray[np.float64]


@overload
def power_to_dbfs(mean_square: float) -> float: ...
@overload
def power_to_dbfs(mean_square: npt.NDArray[Any]) -> Floats: ...
def power_to_dbfs(mean_square: Any) -> Any:
    """Return the level in dBFS of a mean square.

    Parameters
    ----------
    mean_square : float or numpy.ndarray
        Mean square of samples with full scale 1.0. Zero and negative values (an unbiased estimate of no power may be
        negative) read `FLOOR_DBFS`.
    """
    return _decibels(10.0, np.asarray(mean_square, dtype=np.float64) / FULL_SCALE_MEAN_SQUARE)


@overload
def rms_to_dbfs(rms: float) -> float: ...
@overload
def rms_to_dbfs(rms: npt.NDArray[Any]) -> Floats: ...
def rms_to_dbfs(rms: Any) -> Any:
    """Return the level in dBFS of an RMS value (full scale 1.0); 1/sqrt(2) reads 0 dBFS."""
    return _decibels(20.0, np.asarray(rms, dtype=np.float64) / np.sqrt(FULL_SCALE_MEAN_SQUARE))


@overload
def amplitude_to_dbfs(amplitude: float) -> float: ...
@overload
def amplitude_to_dbfs(amplitude: npt.NDArray[Any]) -> Floats: ...
def amplitude_to_dbfs(amplitude: Any) -> Any:
    """Return the level in dBFS of a sine with this peak amplitude; 1.0 reads 0 dBFS."""
    return _decibels(20.0, np.asarray(amplitude, dtype=np.float64))


@overload
def ratio_to_db(amplitude_ratio: float) -> float: ...
@overload
def ratio_to_db(amplitude_ratio: npt.NDArray[Any]) -> Floats: ...
def ratio_to_db(amplitude_ratio: Any) -> Any:
    """Return an amplitude ratio in dB (its sign is ignored); a ratio of zero reads `FLOOR_DBFS`."""
    return _decibels(20.0, np.abs(np.asarray(amplitude_ratio)))


@overload
def dbfs_to_power(level_dbfs: float) -> float: ...
@overload
def dbfs_to_power(level_dbfs: npt.NDArray[Any]) -> Floats: ...
def dbfs_to_power(level_dbfs: Any) -> Any:
    """Return the mean square (full scale 1.0) of a level in dBFS; `FLOOR_DBFS` and below are silence."""
    return _undecibels(10.0, level_dbfs, FULL_SCALE_MEAN_SQUARE)


@overload
def dbfs_to_rms(level_dbfs: float) -> float: ...
@overload
def dbfs_to_rms(level_dbfs: npt.NDArray[Any]) -> Floats: ...
def dbfs_to_rms(level_dbfs: Any) -> Any:
    """Return the RMS value (full scale 1.0) of a level in dBFS; `FLOOR_DBFS` and below are silence."""
    return _undecibels(20.0, level_dbfs, float(np.sqrt(FULL_SCALE_MEAN_SQUARE)))


@overload
def dbfs_to_amplitude(level_dbfs: float) -> float: ...
@overload
def dbfs_to_amplitude(level_dbfs: npt.NDArray[Any]) -> Floats: ...
def dbfs_to_amplitude(level_dbfs: Any) -> Any:
    """Return the peak amplitude of a sine at a level in dBFS; `FLOOR_DBFS` and below are silence."""
    return _undecibels(20.0, level_dbfs, 1.0)


@overload
def db_to_ratio(decibels: float) -> float: ...
@overload
def db_to_ratio(decibels: npt.NDArray[Any]) -> Floats: ...
def db_to_ratio(decibels: Any) -> Any:
    """Return the amplitude ratio of a gain in dB; `FLOOR_DBFS` and below are no gain at all."""
    return _undecibels(20.0, decibels, 1.0)


@overload
def db_to_power_ratio(decibels: float) -> float: ...
@overload
def db_to_power_ratio(decibels: npt.NDArray[Any]) -> Floats: ...
def db_to_power_ratio(decibels: Any) -> Any:
    """Return the power ratio of a gain in dB; `FLOOR_DBFS` and below are no power at all."""
    return _undecibels(10.0, decibels, 1.0)


def _decibels(factor: float, ratio: Floats) -> Any:
    """Return ``factor * log10(ratio)``, not below the floor; a float for a number, an array for an array."""
    # NaN fails every comparison, so it would turn into the floor here: a spoilt reading must not look like silence.
    tiny = 10.0 ** (FLOOR_DBFS / factor)
    decibels = factor * np.log10(np.where(ratio < tiny, tiny, ratio))
    return float(decibels) if np.ndim(ratio) == 0 else decibels


def _undecibels(factor: float, decibels: Any, reference: float) -> Any:
    values = np.asarray(decibels, dtype=np.float64)
    ratio = reference * np.where(values > FLOOR_DBFS, 10.0 ** (values / factor), 0.0)
    return float(ratio) if np.ndim(values) == 0 else ratio
