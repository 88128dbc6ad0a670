"""The picture's leak as a part of a circuit, in words; and what is missing where it cannot be told."""

from __future__ import annotations

from humcheck.findings.index import Use
from humcheck.findings.words import channel_words, joined
from humcheck.results import Measure

_CAPACITANCE, _RESISTANCE = "picture_capacitance", "picture_ground_resistance"


def circuit_row(use: Use, judged: Measure) -> Measure | None:
    """Return the capacitance or the resistance that a coupling stands for, where it is known."""
    for name in (_CAPACITANCE, _RESISTANCE):
        row = use.measures(name, judged.role).get(judged.channel)
        if row is not None:
            return row
    return None


def circuit_words(use: Use, judged: Measure) -> str:
    """Return the capacitance or resistance in a sentence, or what is still to be given; empty where nothing was."""
    row = circuit_row(use, judged)
    if row is None:
        return _missing_words(use)
    numbers = f"{_number(row.value)} {{}} ({_number(row.low or 0.0)} to {_number(row.high or row.value)})"
    if row.quantity == _CAPACITANCE:
        return (
            f" The picture leaks into {channel_words(row.channel)} through about {numbers.format('pF')}, if the video "
            "line swings by 0.7 V and the circuit values given are right."
        )
    return (
        f" That is what a shared ground of about {numbers.format('milliohm')} does, if it carries the current of one "
        "video line (0.7 V into 75 ohm) and the circuit values given are right."
    )


def _missing_words(use: Use) -> str:
    """Return which of the three values is missing where some of them are given."""
    settings = use.results.settings
    values = {
        "the volts at the recorder's full scale": settings.volts_at_full_scale,
        "the source's output resistance": settings.source_ohms,
        "the resistance of the load": settings.load_ohms,
    }
    ohms = settings.source_ohms is not None or settings.load_ohms is not None
    missing = [name for name, value in values.items() if value is None]
    if not missing or not ohms:
        return ""
    return f" To tell the leak as a capacitance, {joined(missing)} must be given as well."


def _number(value: float) -> str:
    """Return three digits without powers of ten."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"
