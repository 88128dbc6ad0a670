"""Rows of the fields that were drawn, from the frames of a file: scaled, cropped, woven, doubled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from humcheck.audio.levels import Floats
from humcheck.estimates.footage.clock import ROWS, Drawing, frame_rate_hz

#: How fields became frames: one each; two woven, the even rows drawn first or the odd ones; one of two kept.
Weave = Literal["each", "each, odd first", "even rows first", "odd rows first", "one of two"]
#: Frames of fewer rows than this hold no two fields.
_WOVEN_ROWS = 400
#: Frames are doubled if the odd ones differ from their forerunners by no more than this share of what the even do.
_DOUBLED = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frames:
    """Frames in order, evenly counted.

    Attributes
    ----------
    rows : numpy.ndarray, shape (n_frames, n_rows)
        Brightness 0-1.
    number : numpy.ndarray of int, shape (n_frames,)
        Counted in steps of the frame rate, lost frames included.
    first_s : float
        Time stamp of number 0.
    doubled : bool
        Whether each frame stood for two of the file's.
    """

    rows: Floats
    number: NDArray[np.intp]
    first_s: float
    doubled: bool


def counted(rows: Floats, times_s: Floats) -> Frames:
    """Return the frames of a file, numbered; of doubled frames one each."""
    step_s = 1 / frame_rate_hz(times_s)
    number = np.rint((times_s - times_s[0]) / step_s).astype(np.intp)
    first_s = float(np.median(times_s - number * step_s))
    change = np.abs(np.diff(rows, axis=0)).mean(axis=1)
    pairs = [change[start::2].mean() if change[start::2].size else 0.0 for start in (0, 1)]
    quieter = int(np.argmin(pairs))
    doubled = len(rows) > 8 and pairs[quieter] < _DOUBLED * pairs[1 - quieter]
    if not doubled:
        return Frames(rows=rows, number=number, first_s=first_s, doubled=False)
    kept = slice(quieter, None, 2)
    first = int(number[quieter])
    return Frames(rows=rows[kept], number=number[kept] - first, first_s=first_s + first * step_s, doubled=True)


def weaves(frames: Frames, drawing: Drawing) -> tuple[Weave, ...]:
    """Return the ways in which such frames may have come about."""
    if frames.doubled:
        return ("one of two",)
    if drawing.fields_per_frame == 1:
        return ("each", "each, odd first") if drawing.interlaced else ("each",)
    if frames.rows.shape[1] < _WOVEN_ROWS:
        return ("one of two",)
    return ("even rows first", "odd rows first", "one of two")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fields:
    """Fields as drawn.

    Attributes
    ----------
    rows : numpy.ndarray, shape (n_fields, n_rows)
        Brightness of the rows.
    first_line : numpy.ndarray of int, shape (n_fields,)
        Line at which each begins, counted from the first field of number 0.
    """

    rows: Floats
    first_line: NDArray[np.intp]


def fields_of(
    frames: Frames, drawing: Drawing, weave: Weave, scale: float, n_lines: int, start_line: float = 0.0
) -> Fields:
    """Return the fields that are drawn in a stretch of lines, the nearest frame standing in where none came.

    Parameters
    ----------
    frames : Frames
        What was captured.
    drawing : Drawing
        How it was drawn.
    weave : str
        How fields became frames.
    scale : float
        Height that the frame shows over that of a field of the standard.
    n_lines : int
        Length of the stretch.
    start_line : float
        Line at which frame number 0 begins in it.
    """
    first = int(np.floor(-start_line / drawing.lines_per_field)) - 1
    field = np.arange(first, first + int(np.ceil(n_lines / drawing.lines_per_field)) + 3)
    n_drawn = round(ROWS[drawing.standard_hz] * scale)
    odd = field % 2
    if weave in ("each", "each, odd first"):
        rows = _drawn(frames.rows, n_drawn)[_at(frames, field)]
    elif weave == "one of two":
        rows = _drawn(frames.rows, n_drawn)
        rows = 0.5 * (rows[_at(frames, field // 2)] + rows[_at(frames, (field + 1) // 2)])
    else:
        halves = (frames.rows[:, 0::2], frames.rows[:, 1::2])
        order = halves if weave == "even rows first" else halves[::-1]
        at = _at(frames, field // 2)
        drawn = [_drawn(half, n_drawn) for half in order]
        rows = np.where(odd[:, np.newaxis] == 0, drawn[0][at], drawn[1][at])
    return Fields(rows=rows, first_line=_first_line(field, drawing, weave))


def _first_line(field: NDArray[np.intp], drawing: Drawing, weave: Weave) -> NDArray[np.intp]:
    """Return the lines at which fields begin: rows of the even field lie above those of the odd one."""
    begins = field * drawing.lines_per_field
    later = weave in ("odd rows first", "each, odd first")
    return np.asarray(np.floor(begins) if later else np.ceil(begins), dtype=np.intp)


def _at(frames: Frames, number: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the frame that stands for each number: the latest until then."""
    place = np.searchsorted(frames.number, number, side="right") - 1
    return np.clip(place, 0, len(frames.number) - 1)


def _drawn(rows: Floats, n_drawn: int) -> Floats:
    """Return rows as drawn, each the mean of what it covers, or drawn from its neighbours where it covers none."""
    n_rows = rows.shape[1]
    if n_rows == n_drawn:
        return rows
    if n_rows < n_drawn:
        place = np.clip((np.arange(n_drawn) + 0.5) * n_rows / n_drawn - 0.5, 0, n_rows - 1)
        low = np.floor(place).astype(int)
        high, part = np.minimum(low + 1, n_rows - 1), place - low
        return np.asarray(rows[:, low] * (1 - part) + rows[:, high] * part)
    edges = np.linspace(0, n_rows, n_drawn + 1)
    whole = np.minimum(edges.astype(int), n_rows - 1)
    summed = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(rows, axis=1)], axis=1)
    at_edges = summed[:, whole] + rows[:, whole] * (edges - whole)
    return np.asarray(np.diff(at_edges, axis=1) / np.diff(edges))
