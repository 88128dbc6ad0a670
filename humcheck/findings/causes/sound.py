"""Why a device changes level or tone, or lets one channel into the other: a hypothesis from the shape of the change.

A small capacitance couples 6.02 dB more per octave, a common resistance the same at all frequencies (elementary: the
coupled share is 2 pi f R C, or R over the load). A series capacitor takes away bass, a capacitance across the line
treble (first-order filters, elementary). Which part does it in practice is common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from humcheck.findings import advice
from humcheck.findings.causes.weighing import Clue, Hypothesis, Verdict, weigh
from humcheck.findings.index import Use, largest, worst
from humcheck.results import Change, Curve, Evidence

DIVIDER = Hypothesis(
    name="resistance-and-load",
    short="resistance in the way",
    words="resistance in the signal's way (resistors, switches, poor contacts) against the load of all that follows, "
    "as in a device without a supply",
    test="Take everything but the recorder off the outputs and measure again: if the level comes back, it was the "
    "load; if it stays, it is the resistance.",
)
AMPLIFIER = Hypothesis(
    name="amplifier",
    short="an amplifier",
    words="an amplifier in the device (or a transformer) whose gain is not one",
    test="Measure again with the device's supply unplugged: if no sound passes any more, an amplifier is in the way.",
)
SERIES_CAPACITOR = Hypothesis(
    name="coupling-capacitor",
    short="a coupling capacitor",
    words="a coupling capacitor (or an isolating transformer) that is small for the load behind it",
    test="Measure again into an input of higher impedance: a capacitor's corner moves down with it.",
)
LINE_CAPACITANCE = Hypothesis(
    name="line-capacitance",
    short="capacitance across the line",
    words="capacitance across the line, of a long lead or a filter, behind the resistance of the source or the device",
    test="Measure again with the shortest lead there is: treble that comes back was lost in the lead.",
)
GAP = Hypothesis(
    name="channel-capacitance",
    short="conductors side by side",
    words="conductors of left and right side by side, in the device or in the lead, without a screen between them: a "
    "small capacitance",
    test="Measure again with leads in which left and right have screens of their own: bleed that stays is that of the "
    "device.",
)
COMMON_GROUND = Hypothesis(
    name="channel-return",
    short="a ground that both channels share",
    words="a ground that both channels share and that has some resistance: a thin wire or a poor contact",
    test="Clean and replug the contacts, or add a second ground wire from shell to shell, and measure again: bleed "
    "over a common ground falls.",
    cautions=(advice.CABLE_CAUTION,),
)

#: Slope over frequency from which on coupling is capacitive, and up to which it is resistive (see above: 6 and 0).
_CAPACITIVE_DB_PER_OCTAVE, _RESISTIVE_DB_PER_OCTAVE = 4.5, 1.5
#: The slope is read here: above hum, below the roll-off of converters.
_SLOPE_BAND_HZ = (300.0, 12_000.0)
#: Tone that changes by less leaves only a change of level; channels that differ by more are told.
_FLAT_DB, _APART_DB = 0.25, 0.2


def level_cause(use: Use) -> Verdict | None:
    """Return why the level is another."""
    gains = use.changes("gain")
    change = largest(gains)
    if change is None:
        return None
    hypothesis = DIVIDER if change.value < 0 else AMPLIFIER
    return weigh((hypothesis,), list(_level_clues(use, gains, change, hypothesis.name)))


def _level_clues(use: Use, gains: dict[str, Change], change: Change, name: str) -> Iterator[Clue]:
    evidence: tuple[Evidence, ...] = (Evidence(change=change.id),) if change.id else ()
    words = "the level falls" if change.value < 0 else "the level rises, which no resistance does"
    span = largest(use.changes("response_span"))
    if span is not None and span.value < _FLAT_DB:
        words += ", and by the same at all frequencies"
        evidence += (Evidence(change=span.id),) if span.id else ()
    yield Clue(words=words, weights={name: 1}, evidence=evidence)
    left, right = gains.get("left"), gains.get("right")
    if left is not None and right is not None and abs(left.value - right.value) >= _APART_DB:
        apart_db = abs(left.value - right.value)
        yield Clue(
            words=f"left and right differ by {apart_db:.2f} dB: parts of wide tolerance or a contact", weights={}
        )


def tone_cause(use: Use) -> Verdict | None:
    """Return why bass or treble is lost, or None where no corner was found."""
    low, high = worst(use.changes("low_corner")), worst(use.changes("high_corner"))
    clues = []
    if low is not None and low.bound is None:
        words = f"bass falls off below {low.value:.0f} Hz, as behind a series capacitor"
        clues.append(Clue(words=words, weights={SERIES_CAPACITOR.name: 2}, evidence=(Evidence(change=low.id),)))
    if high is not None and high.bound is None:
        words = f"treble falls off above {high.value / 1000:.1f} kHz, as with a capacitance across the line"
        clues.append(Clue(words=words, weights={LINE_CAPACITANCE.name: 2}, evidence=(Evidence(change=high.id),)))
    if len(clues) != 1:
        return None  # nothing found, or two causes that do not exclude each other
    chosen = SERIES_CAPACITOR if SERIES_CAPACITOR.name in clues[0].weights else LINE_CAPACITANCE
    return weigh((chosen,), clues)


def bleed_cause(use: Use, channel: str) -> Verdict | None:
    """Return by which way one channel gets into `channel`, the idle one, from the slope of the crosstalk."""
    curve = use.curves("crosstalk", "through").get(channel)
    slope = None if curve is None else slope_db_per_octave(curve)
    if curve is None or slope is None:
        return None
    evidence = (Evidence(curve=curve.id),) if curve.id else ()
    if slope >= _CAPACITIVE_DB_PER_OCTAVE:
        words = f"it grows by {slope:.1f} dB per octave, as through a small gap"
        weights = {GAP.name: 2.0, COMMON_GROUND.name: -1.0}
    elif slope <= _RESISTIVE_DB_PER_OCTAVE:
        words = f"it is much the same at low and high frequencies ({slope:.1f} dB per octave), as over a common wire"
        weights = {COMMON_GROUND.name: 2.0, GAP.name: -1.0}
    else:
        words = f"it grows with frequency by {slope:.1f} dB per octave: less than through a gap, more than over a wire"
        weights = {GAP.name: 1.0, COMMON_GROUND.name: 0.5}
    return weigh((GAP, COMMON_GROUND), [Clue(words=words, weights=weights, evidence=evidence)])


def slope_db_per_octave(curve: Curve) -> float | None:
    """Return the slope of a curve over octaves by least squares, bounds left out; None where too little is left."""
    bounds = curve.bound or [None] * len(curve.value)
    points = [
        (math.log2(hz), value)
        for hz, value, bound in zip(curve.frequency_hz, curve.value, bounds, strict=True)
        if bound is None and _SLOPE_BAND_HZ[0] <= hz <= _SLOPE_BAND_HZ[1]
    ]
    if len(points) < 5 or points[-1][0] - points[0][0] < 1.0:
        return None
    mean_x = math.fsum(x for x, _ in points) / len(points)
    mean_y = math.fsum(y for _, y in points) / len(points)
    spread = math.fsum((x - mean_x) ** 2 for x, _ in points)
    return math.fsum((x - mean_x) * (y - mean_y) for x, y in points) / spread
