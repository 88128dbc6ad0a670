"""The most likely cause of a noise, with what speaks for and against it and the test that would decide.

A cause is a hypothesis. It comes from a pattern of lines, and from takes in which one thing was changed; only the
latter make it more than likely.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from humcheck.findings.causes import mains, picture, steady
from humcheck.findings.causes.comparing import fixes, pictures
from humcheck.findings.causes.shape import OwnLine, own_lines, shape_of
from humcheck.findings.causes.weighing import Clue, Hypothesis, Verdict, weigh
from humcheck.findings.index import Use, worst
from humcheck.results import Line, Measure

__all__ = ["Verdict", "cause_of"]

_STEADY = {
    "hum_and_buzz_level": steady.MAINS_OR_PICTURE,
    "digital_level": steady.FRAMES,
    "other_lines_level": steady.OSCILLATOR,
}
_FAMILIES = {
    "hum_level": "mains",
    "hum_and_buzz_level": "mains_or_field",
    "buzz_level": "field",
    "whistle_level": "line_rate",
    "digital_level": "digital",
    "other_lines_level": "other",
}


def cause_of(use: Use, quantity: str, direct: Sequence[Line]) -> Verdict | None:
    """Return the most likely cause of a noise, or None where no line of it stands out.

    Parameters
    ----------
    use : Use
        One way of using a device, or a recording that stands alone.
    quantity : str
        Level of the noise.
    direct : sequence of Line
        Lines of the direct take beside it; empty for a recording that stands alone.
    """
    own = own_lines(use.lines([_FAMILIES[quantity]]), direct)
    if steady.is_of_frames(own):
        # Multiples of 1 kHz are multiples of 50 Hz as well, and may have been taken for a family at that rate.
        return _weighed((steady.FRAMES,), list(steady.steady_clue(own, steady.FRAMES)))
    if quantity == "hum_level" and picture.is_fraction_of_line_rate(shape_of(own), use.lines(["line_rate"])):
        # Whatever family they were counted to: tones tied to a picture's line rate belong to the picture.
        return _picture(use, quantity, direct, field=own)
    if quantity == "hum_level":
        return _mains(use, own)
    if quantity in ("buzz_level", "whistle_level"):
        return _picture(use, quantity, direct)
    hypothesis = _STEADY[quantity]
    clues = list(steady.steady_clue(own, hypothesis))
    return _weighed((hypothesis,), clues)


def _mains(use: Use, own: Sequence[OwnLine]) -> Verdict | None:
    shape = shape_of(own)
    if shape is None:
        return None
    return _weighed(mains.HYPOTHESES, list(mains.mains_clues(shape, fixes(use, "hum_level"))))


def _picture(use: Use, quantity: str, direct: Sequence[Line], field: Sequence[OwnLine] | None = None) -> Verdict | None:
    brightness = pictures(use, quantity)
    # A lit picture tells more of the way than a black one; the way is the same for both.
    telling = use if brightness is None else brightness.use
    shape = shape_of(own_lines(telling.lines(["field"]), direct) if field is None else field)
    whistle = own_lines(telling.lines(["line_rate"]), direct)
    clues = list(picture.picture_clues(shape, whistle, brightness, telling.key.picture, _coupling_slope(telling)))
    verdict = _weighed(picture.HYPOTHESES, clues)
    return verdict if verdict is None or brightness else replace(verdict, test=picture.BLACK_TEST)


def _coupling_slope(use: Use) -> Measure | None:
    """Return the slope of the coupling curve, of this use or of one of the same device in which the picture differs."""
    mine = use.key
    others = use.siblings(lambda key: (key.condition, key.fix) == (mine.condition, mine.fix))
    rows = [worst(one.measures("picture_coupling_slope", one.key.role)) for one in (use, *others)]
    return next((row for row in rows if row is not None and row.bound is None), None)


def _weighed(hypotheses: Sequence[Hypothesis], clues: Sequence[Clue]) -> Verdict | None:
    return weigh(hypotheses, clues) if clues else None
