"""Lines that are neither mains nor picture, and what may be either (common practice, no source, where not named)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from humcheck.findings import advice
from humcheck.findings.causes.shape import OwnLine, strongest_ids
from humcheck.findings.causes.weighing import Clue, Hypothesis
from humcheck.results import Evidence, Line

MAINS_OR_PICTURE = Hypothesis(
    name="mains-or-picture",
    short="hum or buzz",
    words="mains hum or picture buzz: both have the same rate here, and the recording is too short or too steady to "
    "tell one from the other",
    test="Show a black picture, or take the display off, and record a quiet section of 60 s: what goes is buzz, what "
    "stays is hum, and over that time the mains wanders while a picture does not.",
    advice=advice.MAINS_OR_PICTURE,
    cautions=(advice.EARTH_CAUTION, advice.CABLE_CAUTION),
    opening="It may be",
    undecided=True,
)
#: Frames of full-speed USB repeat at 1 kHz, microframes at 8 kHz (USB 2.0 specification, from memory).
FRAMES = Hypothesis(
    name="digital-frames",
    short="a digital link",
    words="a digital link, most often USB: its frames follow each other 1000 or 8000 times a second",
    test="Run the recording computer on its battery and plug the recorder into another socket, and record the quiet "
    "section again: frame noise changes at once.",
    advice=advice.DIGITAL,
    cautions=(advice.CABLE_CAUTION,),
)
OSCILLATOR = Hypothesis(
    name="switching-supply",
    short="a switching supply",
    words="a switching supply or another oscillator nearby: tones that fit neither the mains nor the picture",
    test="Unplug every switching supply and charger in reach but the needed ones, and record the quiet section again: "
    "the tones that are gone were theirs.",
    advice=advice.OTHER_TONES,
    cautions=(advice.SUPPLY_CAUTION,),
)


#: Where nearly all power stands at multiples of 1 kHz, within this share of a frequency (clocks differ by ppm only).
_FRAME_HZ, _FRAME_TOLERANCE, _FRAME_SHARE = 1000.0, 2e-4, 0.8


def is_of_frames(own: Sequence[OwnLine]) -> bool:
    """Return whether nearly all power of some lines stands at multiples of 1 kHz, three of them at least."""
    powers = [(_nominal_hz(row.line), 10 ** (row.level_dbfs / 10)) for row in own]
    at_frames = [(hz, power) for hz, power in powers if _is_frame(hz)]
    share = sum(power for _, power in at_frames) / max(sum(power for _, power in powers), 1e-300)
    return share >= _FRAME_SHARE and len({round(hz / _FRAME_HZ) for hz, _ in at_frames}) >= 3


def _nominal_hz(line: Line) -> float:
    """Return a line's frequency; in a family at a mains or picture rate that of the whole number of hertz beside it.

    Where lines of frames were taken for the twentieth harmonic and its multiples, their frequencies follow the family.
    """
    if not line.harmonic:
        return line.frequency_hz
    return float(line.harmonic * round(line.frequency_hz / line.harmonic))


def _is_frame(frequency_hz: float) -> bool:
    order = round(frequency_hz / _FRAME_HZ)
    return order > 0 and abs(frequency_hz - order * _FRAME_HZ) <= _FRAME_TOLERANCE * frequency_hz


def steady_clue(own: Sequence[OwnLine], hypothesis: Hypothesis) -> Iterator[Clue]:
    """Yield which tones were found, as what speaks for the only hypothesis there is."""
    if not own:
        return
    strongest = sorted(own, key=lambda row: -row.level_dbfs)
    heard = sorted({round(row.line.frequency_hz) for row in strongest[:4]})
    named = ", ".join(f"{hz / 1000:.2f} kHz" if hz >= 1000 else f"{hz} Hz" for hz in heard)
    yield Clue(
        words=f"its strongest tones stand at {named}",
        weights={hypothesis.name: 1},
        evidence=tuple(Evidence(line=name) for name in strongest_ids(own)),
    )
