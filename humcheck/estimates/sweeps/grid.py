"""The frequencies at which responses are estimated: the same in every take, so that takes can be divided.

A step of 10**(1/40) is one twelfth of IEC 61260-1's octave ratio 10**(3/10), and three decades are exactly 120 of
them: the series through 20 Hz meets 20 kHz.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LOWEST_HZ = 8.0
#: Points off the series that readings are quoted at: AES17's standard frequency and the nominal kilohertz.
EXTRA_HZ = (997.0, 1000.0)
REFERENCE_HZ = 997.0

_STEPS_DOWN = 15
_STEPS_UP = 122


def _series() -> Floats:
    exponents = np.arange(-_STEPS_DOWN, _STEPS_UP + 1) / 40.0
    series = 20.0 * 10.0**exponents
    series[_STEPS_DOWN + 120] = 20000.0
    return np.concatenate([[LOWEST_HZ], series])


#: All frequencies in Hz, rising: 8 Hz, the twelfth-octave series from 8.43 Hz to 22.4 kHz, 997 Hz and 1 kHz.
FREQUENCIES_HZ: Floats = np.sort(np.concatenate([_series(), EXTRA_HZ]))
#: True at the points of the series; curves, spans and corners use these alone.
IN_SERIES: Flags = ~np.isin(FREQUENCIES_HZ, EXTRA_HZ)
FREQUENCIES_HZ.setflags(write=False)
IN_SERIES.setflags(write=False)


def index_of(frequency_hz: float) -> int:
    """Return the index of a frequency that is on the grid.

    Raises
    ------
    ValueError
        If no point of the grid lies there.
    """
    index = int(np.argmin(np.abs(FREQUENCIES_HZ - frequency_hz)))
    if not np.isclose(FREQUENCIES_HZ[index], frequency_hz, rtol=1e-9):
        raise ValueError(f"frequency_hz is {frequency_hz}; the grid has no such point")
    return index
