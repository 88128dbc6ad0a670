"""The code of the picture ``rows``: a public sequence of black and white rows that nothing else on a screen looks like.

It is 288 terms of a maximal-length sequence (recurrence of the primitive polynomial x^9 + x^5 + 1 over two elements
[1]_). The start was chosen among all of them for a flat spectrum and low side lobes, both of the whole code and of its
middle 240 terms, which pictures of 240 lines show: a picture of 288 lines that loses 24 at the top and at the bottom
still is the code.

References
----------
.. [1] S. W. Golomb, Shift Register Sequences, 1967: maximal-length sequences and their two-valued autocorrelation.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

LONGEST = 288
_START = (1, 1, 0, 1, 0, 1, 0, 1, 0)
_TAP = 5


def row_code(n_rows: int) -> npt.NDArray[np.uint8]:
    """Return the code: 1 for a white row, 0 for a black one, from the top.

    Parameters
    ----------
    n_rows : int
        240 or 288.

    Raises
    ------
    ValueError
        If there is no code of so many rows.
    """
    if n_rows not in (240, LONGEST):
        raise ValueError(f"n_rows={n_rows}: there are codes of 240 and of {LONGEST} rows")
    cut = (LONGEST - n_rows) // 2
    return np.array(_sequence()[cut : LONGEST - cut], dtype=np.uint8)


@lru_cache(maxsize=1)
def _sequence() -> tuple[int, ...]:
    terms = list(_START)
    while len(terms) < LONGEST:
        terms.append(terms[-len(_START)] ^ terms[_TAP - len(_START)])
    return tuple(terms)
