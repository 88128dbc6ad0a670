"""The test pictures: black, white, the top half white, colour blocks, and coded rows."""

from __future__ import annotations

from itertools import product

import numpy as np
import numpy.typing as npt

from humcheck.tracks.pictures_code import row_code

PICTURES = ("black", "white", "top-half", "colour-blocks", "rows")
#: Visible lines; the pictures of 480 and 576 lines are for interlaced screens.
LINES = (240, 288, 480, 576)

#: Red, green and blue of the eight blocks: 100 % colours in the order of falling brightness (common practice), white
#: and black included. Weights of brightness: ITU-R BT.601.
_BLOCKS = sorted(product((0, 255), repeat=3), key=lambda rgb: -(0.299 * rgb[0] + 0.587 * rgb[1] + 0.114 * rgb[2]))


def picture(name: str, n_lines: int) -> npt.NDArray[np.uint8]:
    """Return a test picture of 4:3 with square dots.

    Parameters
    ----------
    name : str
        One of `PICTURES`.
    n_lines : int
        One of `LINES`. At 480 and 576 lines every row of the code is two lines high, so that it stands in both fields
        of an interlaced picture and nothing flickers.

    Returns
    -------
    numpy.ndarray of uint8, shape (n_lines, n_lines * 4 / 3, 3)
        Red, green, blue, 0-255.

    Raises
    ------
    ValueError
        If there is no such picture.
    """
    if name not in PICTURES or n_lines not in LINES:
        raise ValueError(f"name={name!r}, n_lines={n_lines}: expected one of {PICTURES} and one of {LINES}")
    width = n_lines * 4 // 3
    if name == "colour-blocks":
        block = np.arange(width) * len(_BLOCKS) // width
        row = np.array(_BLOCKS, dtype=np.uint8)[block]
        return np.ascontiguousarray(np.broadcast_to(row, (n_lines, width, 3)))
    brightness = brightness_of_lines(name, n_lines)
    return np.ascontiguousarray(np.broadcast_to(brightness[:, np.newaxis, np.newaxis], (n_lines, width, 3)))


def brightness_of_lines(name: str, n_lines: int) -> npt.NDArray[np.uint8]:
    """Return the brightness of each line, 0 or 255, of a picture whose lines are each of one brightness.

    Parameters
    ----------
    name : str
        ``"black"``, ``"white"``, ``"top-half"`` or ``"rows"``.
    n_lines : int
        One of `LINES`.
    """
    line = np.arange(n_lines)
    if name == "rows":
        height = 2 if n_lines > 288 else 1
        white = row_code(n_lines // height)[line // height] == 1
    elif name in ("black", "white", "top-half"):
        white = line < {"black": 0, "white": n_lines, "top-half": n_lines // 2}[name]
    else:
        raise ValueError(f"name={name!r}: its lines are not each of one brightness")
    return np.where(white, 255, 0).astype(np.uint8)
