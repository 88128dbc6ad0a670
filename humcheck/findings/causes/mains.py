"""What leaves mains hum in sound, and what tells one cause from another.

Which causes there are and what one tries is common practice, no source, except where a source is named; what the
harmonics say of a waveform is elementary (see `shape`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from humcheck.findings import advice
from humcheck.findings.causes.comparing import Comparison
from humcheck.findings.causes.shape import HIGH_HZ, Shape
from humcheck.findings.causes.weighing import Clue, Hypothesis
from humcheck.results import Evidence

LOOP = Hypothesis(
    name="ground-loop",
    short="a ground loop",
    words="a ground loop: two devices are earthed in two places, and the current between the earths flows through the "
    "screen of the audio lead",
    test="Put an audio isolating transformer into the audio lead and record the quiet section again: a ground loop's "
    "hum goes, all other hum stays.",
    advice=advice.LOOP,
    cautions=(advice.EARTH_CAUTION, advice.CABLE_CAUTION),
)
MAGNETIC = Hypothesis(
    name="magnetic-field",
    short="a magnetic field",
    words="the magnetic field of a transformer or of mains leads, caught by a lead or inside the device",
    test="Move the audio leads half a metre away from the nearest transformer, then turn it, and record again: "
    "hum from a field changes with place and angle, all other hum does not.",
    advice=advice.MAGNETIC,
    cautions=(advice.CABLE_CAUTION,),
)
RIPPLE = Hypothesis(
    name="supply-ripple",
    short="ripple of a supply",
    words="ripple of a supply: what its rectifier and its capacitors leave of the mains",
    test="Run the device from another supply of the same rating, or from a battery, and record again: ripple changes "
    "or goes, all other hum stays.",
    advice=advice.RIPPLE,
    cautions=(advice.SUPPLY_CAUTION, advice.CABLE_CAUTION),
)
PULSES = Hypothesis(
    name="mains-pulses",
    short="pulses from a dimmer or a switching supply",
    words="sharp pulses at the rhythm of the mains: a dimmer, a switching supply or a rectifier nearby",
    test="Switch off dimmers, lamps with electronics and small supplies of the room one after the other, one short "
    "quiet take each: the step after which the buzz is gone names it.",
    advice=advice.PULSES,
    cautions=(advice.EARTH_CAUTION, advice.CABLE_CAUTION),
)
SCREEN = Hypothesis(
    name="lead-screen",
    short="a bad screen of one lead",
    words="one lead or plug: a screen that makes poor contact, or none at all, so that the wire inside catches hum",
    test="Swap the left and right leads and record again: hum that changes sides belongs to the lead, hum that stays "
    "to the socket or the device.",
    advice=advice.SCREEN,
    cautions=(advice.CABLE_CAUTION,),
)
HYPOTHESES = (LOOP, MAGNETIC, RIPPLE, PULSES, SCREEN)

#: Shares of power from which on a group of harmonics counts as the whole, as most, as present.
_ALL, _MOST, _PRESENT = 0.97, 0.7, 0.01
#: So many harmonics make a series.
_SERIES = 3
#: Channels that differ by less are alike, by more are one-sided.
ALIKE_DB, ONE_SIDED_DB = 3.0, 10.0
#: A change that took (or left) this much of the hum tells something.
_TOOK_DB, _LEFT_DB = 6.0, 2.0


def mains_clues(shape: Shape, comparisons: Sequence[Comparison]) -> Iterator[Clue]:
    """Yield what the shape of a mains family, and takes in which one thing was changed, say of its cause."""
    yield _parity(shape)
    if shape.is_dense:
        yield Clue(
            words=f"its harmonics reach up to {shape.reach_hz / 1000:.1f} kHz and fall slowly: sharp edges, no smooth "
            "waveform",
            weights={"mains-pulses": 3, "lead-screen": 1, "ground-loop": -1, "magnetic-field": -2},
            evidence=_lines(shape),
        )
    if shape.strongest_hz >= HIGH_HZ:
        yield Clue(
            words=f"it is strongest far above the mains frequency, near {shape.strongest_hz / 1000:.1f} kHz: short "
            "pulses that ring, or mains that comes in through a small gap",
            weights={
                "mains-pulses": 2,
                "lead-screen": 1,
                "ground-loop": -1,
                "supply-ripple": -2,
                "magnetic-field": -2,
            },
            evidence=_lines(shape),
        )
    yield from _channels(shape)
    for comparison in comparisons:
        yield from _changed(comparison)
    yield from _beside(shape)


def _beside(shape: Shape) -> Iterator[Clue]:
    """Yield what is there besides, too weak to be the cause of what is heard: a second source's even harmonics."""
    even = [order for order in shape.levels_dbfs if order % 2 == 0]
    if len(even) >= _SERIES and shape.even < _PRESENT:
        below_db = -10 * math.log10(shape.even)
        yield Clue(
            words=f"besides, {below_db:.0f} dB weaker, there are even harmonics: some ripple of a supply", weights={}
        )


def _lines(shape: Shape) -> tuple[Evidence, ...]:
    return tuple(Evidence(line=name) for name in shape.line_ids)


def _parity(shape: Shape) -> Clue:
    named = _tones(shape)
    if shape.fundamental >= _ALL:
        return Clue(
            words=f"nearly all of it is one tone at the mains frequency ({named})",
            weights={"magnetic-field": 2, "ground-loop": 1, "lead-screen": 1, "supply-ripple": -3, "mains-pulses": -3},
            evidence=_lines(shape),
        )
    if shape.even >= _MOST:
        return Clue(
            words=f"{100 * shape.even:.0f} % of its power lies in even harmonics ({named}): a rectifier of both half "
            "waves leaves twice the mains frequency and its multiples",
            weights={
                "supply-ripple": 3,
                "mains-pulses": 0.5,
                "ground-loop": -2,
                "magnetic-field": -2,
                "lead-screen": -1,
            },
            evidence=_lines(shape),
        )
    if shape.even < _PRESENT and shape.is_dense:
        return Clue(
            words="it holds odd harmonics and next to no even ones: both half waves of the mains leave the same trace",
            weights={"ground-loop": 1, "magnetic-field": 1, "mains-pulses": 0.5, "supply-ripple": -3},
            evidence=_lines(shape),
        )
    if shape.even < _PRESENT:
        return Clue(
            words=f"it holds the mains frequency and odd harmonics ({named}) and next to no even ones, like the mains "
            "voltage itself",
            weights={"ground-loop": 2, "magnetic-field": 1, "lead-screen": 0.5, "supply-ripple": -3},
            evidence=_lines(shape),
        )
    if shape.odd < _PRESENT / 10:
        return Clue(
            words=f"it holds the mains frequency and even harmonics but no odd ones ({named}), as a rectifier of one "
            "half wave leaves them",
            weights={"supply-ripple": 2.5, "ground-loop": -1, "magnetic-field": -1},
            evidence=_lines(shape),
        )
    return Clue(
        words=f"odd and even harmonics both are there ({named})",
        weights={"lead-screen": 0.5, "mains-pulses": 0.5, "supply-ripple": 0.5, "ground-loop": 0.5},
        evidence=_lines(shape),
    )


def _tones(shape: Shape, most: int = 4) -> str:
    """Return the strongest tones of a family in words, low ones first: ``50, 150 and 250 Hz``."""
    strongest = sorted(shape.levels_dbfs, key=lambda order: -shape.levels_dbfs[order])[:most]
    named = [f"{order * shape.fundamental_hz:.0f}" for order in sorted(strongest)]
    return f"{', '.join(named[:-1])} and {named[-1]} Hz" if len(named) > 1 else f"{named[0]} Hz"


def _channels(shape: Shape) -> Iterator[Clue]:
    apart_db = shape.left_minus_right_db
    if apart_db is None:
        return
    stronger = "left" if apart_db > 0 else "right"
    if abs(apart_db) <= ALIKE_DB:
        yield Clue(
            words=f"both channels carry it alike (within {abs(apart_db):.1f} dB): what they share, the ground, is "
            "where it comes in",
            weights={"ground-loop": 1, "supply-ripple": 1, "magnetic-field": -0.5, "lead-screen": -2},
        )
    elif abs(apart_db) >= ONE_SIDED_DB:
        size = "only" if abs(apart_db) > 100 else f"{abs(apart_db):.0f} dB more of it in"
        yield Clue(
            words=f"{size} the {stronger} channel{' carries it' if size == 'only' else ''}: it comes in by one wire, "
            "not by the common ground",
            weights={"lead-screen": 2.5, "magnetic-field": 1, "ground-loop": -1.5, "supply-ripple": -1.5},
        )
    else:
        yield Clue(
            words=f"the {stronger} channel carries {abs(apart_db):.0f} dB more of it",
            weights={"lead-screen": 0.5, "magnetic-field": 0.5},
        )


#: What a fix or a condition is called, and what it says of each cause where it took the hum away, and where it did not.
_CHANGES: tuple[tuple[tuple[str, ...], dict[str, float], dict[str, float]], ...] = (
    (("isolat", "transformer", "ground lift", "di box"), {"ground-loop": 3}, {"ground-loop": -3}),
    (
        ("supply", "battery", "adapter", "psu"),
        {"supply-ripple": 2, "ground-loop": 1, "mains-pulses": 0.5},
        {"supply-ripple": -2},
    ),
    (("lead", "cable", "plug", "screen"), {"lead-screen": 2, "magnetic-field": 1}, {"lead-screen": -1}),
    (("outlet", "strip", "socket"), {"ground-loop": 2}, {"ground-loop": -0.5}),
    (("dimmer", "lamp", "light"), {"mains-pulses": 3}, {"mains-pulses": -1}),
    (("away", "distance", "moved", "turned"), {"magnetic-field": 3}, {"magnetic-field": -1}),
)


def _changed(comparison: Comparison) -> Iterator[Clue]:
    """Yield what a take says in which one thing was changed; a change of another name is told without a weight."""
    name = comparison.name.lower()
    for words, took, left in _CHANGES:
        if not any(word in name for word in words):
            continue
        if comparison.drop_db >= _TOOK_DB:
            at_least = "at least " if comparison.is_least else ""
            yield Clue(
                words=f"{comparison.name} takes {at_least}{comparison.drop_db:.0f} dB of it away",
                weights=took,
                evidence=comparison.evidence,
                changed=True,
                helped=True,
                done=advice.ISOLATE if "isolat" in name else "",
            )
        elif abs(comparison.drop_db) <= _LEFT_DB and not comparison.is_least:
            yield Clue(
                words=f"{comparison.name} leaves it as strong as it was",
                weights=left,
                evidence=comparison.evidence,
                changed=True,
                done=advice.ISOLATE if "isolat" in name else "",
            )
        return
