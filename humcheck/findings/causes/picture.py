"""How a picture gets into sound, and what tells one way from another (common practice, no source, where not named)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from humcheck.findings import advice
from humcheck.findings.causes.comparing import Comparison
from humcheck.findings.causes.mains import ALIKE_DB, ONE_SIDED_DB
from humcheck.findings.causes.shape import OwnLine, Shape, strongest_ids
from humcheck.findings.causes.weighing import Clue, Hypothesis
from humcheck.results import Evidence, Line, Measure

BLACK_TEST = (
    "Show a black picture, then take the picture's lead off altogether, and record the quiet section each time: what "
    "goes with the picture's brightness leaks from its signal, what stays comes from the display."
)
CROSSTALK = Hypothesis(
    name="picture-crosstalk",
    short="crosstalk",
    group="the picture's signal",
    words="crosstalk: a conductor of the picture runs close to one of the sound, in the device or in the lead, without "
    "a screen between them",
    test="Replace the lead by one in which every audio line has a screen of its own and record again: if the buzz "
    "stays, the crosstalk is inside the device.",
    advice=advice.CROSSTALK,
    cautions=(advice.CABLE_CAUTION,),
)
RETURN = Hypothesis(
    name="picture-return",
    short="a shared ground",
    group="the picture's signal",
    words="a ground that picture and sound share: the picture's current on its way back leaves a voltage in the "
    "sound's ground",
    test="Join the grounds of both devices by a second, thick wire from shell to shell and record again: a shared "
    "ground's buzz falls, crosstalk stays.",
    advice=advice.RETURN,
    cautions=(advice.EARTH_CAUTION, advice.CABLE_CAUTION),
)
DISPLAY = Hypothesis(
    name="display",
    short="the display itself",
    words="the display itself (its deflection, backlight or supply), whatever picture it shows",
    test=BLACK_TEST,
    advice=advice.DISPLAY,
    cautions=(advice.DISPLAY_CAUTION, advice.CABLE_CAUTION),
)
HYPOTHESES = (CROSSTALK, RETURN, DISPLAY)

#: Steeper than this the way is a small capacitance (6 dB per octave, elementary), flatter a common resistance (0).
_CAPACITIVE_DB_PER_OCTAVE, _RESISTIVE_DB_PER_OCTAVE = 4.5, 1.5
#: How much a plain white picture's own line rate lies above its field rate: -2 to +7 dB, by the share of the field
#: that it fills (pulse waves of duty d: |sin(pi d)|, elementary). Zero is used; that costs less than 1 dB per octave.
_WHITE_LINE_RATE_DB = 0.0
_FOLLOWS_DB, _STAYS_DB = 6.0, 2.0


#: Lines of a field, for the usual rasters and those of home computers (common tables, from memory).
_LINES_PER_FIELD = (262.0, 262.5, 263.0, 312.0, 312.5, 313.0)
#: A mains of any rate meets one of these ratios so closely by chance once in a hundred or less.
_SAME_RATIO = 3e-6
_MANY_LINES = 30


def is_fraction_of_line_rate(shape: Shape | None, line_rate: Sequence[Line]) -> bool:
    """Return whether a dense comb keeps an exact ratio to the line rate found beside it, as only a picture's does."""
    if shape is None or len(shape.levels_dbfs) < _MANY_LINES:
        return False
    ratios = [line.frequency_hz / shape.fundamental_hz for line in line_rate if line.bound is None]
    return any(abs(ratio / lines - 1) <= _SAME_RATIO for ratio in ratios for lines in _LINES_PER_FIELD)


def picture_clues(
    shape: Shape | None,
    whistle: Sequence[OwnLine],
    brightness: Comparison | None,
    picture: str | None,
    slope: Measure | None = None,
) -> Iterator[Clue]:
    """Yield what a field-rate family, its whistle and takes with another picture say of the way the picture takes.

    Parameters
    ----------
    shape : Shape or None
        Of the field-rate family.
    whistle : sequence of OwnLine
        Lines at the line rate.
    brightness : Comparison or None
        What a black picture takes away.
    picture : str or None
        What the display showed.
    slope : Measure or None
        Slope of the coupling curve, where it was read from coded rows.
    """
    if shape is not None:
        yield Clue(
            words=f"its tones stand at multiples of a picture's field rate ({shape.fundamental_hz:.3f} Hz) and keep "
            "their rate, as the mains does not",
            weights={"picture-crosstalk": 0.5, "picture-return": 0.5},
            evidence=tuple(Evidence(line=name) for name in shape.line_ids[:3]),
        )
    elif whistle:
        yield Clue(
            words="its tones stand at the rate of a picture's lines",
            weights={"picture-crosstalk": 0.5, "picture-return": 0.5},
            evidence=tuple(Evidence(line=name) for name in strongest_ids(whistle)),
        )
    if brightness is not None:
        yield from _brightness(brightness)
    if slope is not None:
        yield _slope_clue(slope.value, "at 1 kHz", (Evidence(measure=slope.id),) if slope.id else ())
    elif shape is not None and whistle and picture != "black":
        yield from _slope(shape, whistle, is_plain=picture == "white")
    channels = shape.left_minus_right_db if shape is not None else None
    if channels is not None and abs(channels) <= ALIKE_DB + 1:
        yield Clue(
            words=f"both channels carry it nearly alike (within {abs(channels):.1f} dB)",
            weights={"picture-return": 0.25},
        )
    elif channels is not None and abs(channels) >= ONE_SIDED_DB:
        yield Clue(
            words=f"the {'left' if channels > 0 else 'right'} channel carries far more of it than the other",
            weights={"picture-crosstalk": 1.5, "picture-return": -1.5},
        )


def _brightness(comparison: Comparison) -> Iterator[Clue]:
    if comparison.drop_db >= _FOLLOWS_DB:
        at_least = "at least " if comparison.is_least else ""
        yield Clue(
            words=f"it follows the picture: {comparison.name} takes {at_least}{comparison.drop_db:.0f} dB of it away",
            weights={"picture-crosstalk": 2, "picture-return": 2, "display": -3},
            evidence=comparison.evidence,
            changed=True,
            done=advice.BLACK_PICTURE,
        )
    elif abs(comparison.drop_db) <= _STAYS_DB and not comparison.is_least:
        yield Clue(
            words=f"it does not follow the picture: {comparison.name} leaves it as strong as it was",
            weights={"display": 3, "picture-crosstalk": -1, "picture-return": -1},
            evidence=comparison.evidence,
            changed=True,
            done=advice.BLACK_PICTURE,
        )


def _slope(shape: Shape, whistle: Sequence[OwnLine], *, is_plain: bool) -> Iterator[Clue]:
    """Yield what the whistle's strength beside the lowest field-rate tone says.

    A white picture's own is known; of an unknown picture the clue counts half.
    """
    order = min(shape.levels_dbfs)
    if order > 2:
        return
    line_hz = max(row.line.frequency_hz for row in whistle)
    channels = {row.line.channel for row in whistle}
    whistle_dbfs = 10 * math.log10(sum(10 ** (row.level_dbfs / 10) for row in whistle) / len(channels))
    octaves = math.log2(line_hz / (order * shape.fundamental_hz))
    slope = (whistle_dbfs - shape.levels_dbfs[order] - _WHITE_LINE_RATE_DB) / octaves
    evidence = tuple(Evidence(line=name) for name in (*shape.line_ids[:1], *strongest_ids(whistle)[:1]))
    clue = _slope_clue(slope, "from field to line rate", evidence)
    if is_plain:
        yield clue
    else:
        weights = {name: weight / 2 for name, weight in clue.weights.items()}
        words = f"{clue.words}; which picture was on is not known to be a plain one"
        yield Clue(words=words, weights=weights, evidence=evidence)


def _slope_clue(slope: float, where: str, evidence: tuple[Evidence, ...]) -> Clue:
    if slope >= _CAPACITIVE_DB_PER_OCTAVE:
        words = f"it grows with frequency ({slope:.1f} dB per octave {where}), as through a small gap"
        weights = {"picture-crosstalk": 2.0, "picture-return": -1.0}
    elif slope <= _RESISTIVE_DB_PER_OCTAVE:
        words = f"low and high tones come through alike ({slope:.1f} dB per octave {where}), as from a common wire"
        weights = {"picture-return": 2.0, "picture-crosstalk": -1.0}
    else:
        words = (
            f"it grows with frequency, though less than through a gap alone ({slope:.1f} dB per octave {where}): its "
            "low tones may come by a common ground"
        )
        weights = {"picture-crosstalk": 1.5, "picture-return": 0.5}
    return Clue(words=words, weights=weights, evidence=evidence)
