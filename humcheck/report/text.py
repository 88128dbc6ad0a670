"""Numbers and outside text as people read them: one place for the page and the terminal."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Protocol

from humcheck.results import quantity

_UNIT_WORDS = {"percent": "%", "us": "µs", "uFS": "µFS", "mohm": "mΩ", "1": ""}
_LARGEST_PLAIN = 1e9
_MOST_DECIMALS = 7
#: Nobody hears, and few benches repeat, hundredths of a decibel.
_MOST_DECIBEL_DECIMALS = 2
#: A limit as far from zero as this is not worth hundredths.
_FAR_DB = 10.0
#: Control characters, direction overrides, lone surrogates, private use and non-characters.
_HARMFUL = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ue000-\uf8ff\ufff9-\ufffb\ufffe\uffff]"
)
_HYPHEN_MINUS = re.compile(r"(?<![^\s(])-(?=\d[\d.,]*\s?(?:dB|%|Hz|kHz|ppm))")


class Reading(Protocol):
    """What a measure and a change have in common."""

    @property
    def quantity(self) -> str:
        """Name of the registry."""

    @property
    def value(self) -> float:
        """Value, or a one-sided limit."""

    @property
    def unit(self) -> str:
        """Unit symbol."""

    @property
    def low(self) -> float | None:
        """Lower end of the 95 % interval."""

    @property
    def high(self) -> float | None:
        """Upper end of the 95 % interval."""

    @property
    def bound(self) -> str | None:
        """``"upper"`` or ``"lower"`` where `value` is a limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberStyle:
    """How numbers are set: the page has a true minus sign and unbreakable spaces, the terminal plain ASCII.

    Attributes
    ----------
    minus, space, group, times : str
        Minus sign, space before a unit, thousands separator, sign before a power of ten.
    """

    minus: str
    space: str
    group: str
    times: str

    def number(self, value: float, decimals: int) -> str:
        """Return `value` with `decimals` digits after the point; huge ones as a power of ten."""
        if abs(value) >= _LARGEST_PLAIN:
            mantissa, exponent = f"{value:.1e}".split("e")
            return self._signed(f"{mantissa}{self.times}10^{int(exponent)}")
        plain = f"{value:,.{decimals}f}" if abs(value) >= 1e4 else f"{value:.{decimals}f}"
        if float(plain.replace(",", "")) == 0:
            plain = plain.lstrip("-")
        return self._signed(plain.replace(",", self.group))

    def with_unit(self, number: str, unit: str) -> str:
        """Return a number's text with its unit; an empty unit adds nothing."""
        symbol = unit_words(unit)
        return f"{number}{self.space}{symbol}" if symbol else number

    def value(self, reading: Reading) -> str:
        """Return ``−70.3 dBFS``, or ``< −120.3 dBFS`` for a bound."""
        if reading.quantity == "polarity":
            return "inverted" if reading.value < 0 else "kept"
        decimals = decimals_of(reading)
        if reading.bound is None:
            return self.with_unit(self.number(reading.value, decimals), reading.unit)
        sign, rounded = bound_of(reading.bound, reading.value, decimals)
        return self.with_unit(f"{sign}{self.space}{self.number(rounded, decimals)}", reading.unit)

    def interval(self, reading: Reading) -> str:
        """Return ``−70.6 to −70.0``, or nothing where there is none."""
        if reading.low is None or reading.high is None or reading.quantity == "polarity":
            return ""
        decimals = decimals_of(reading)
        low, high = self.number(reading.low, decimals), self.number(reading.high, decimals)
        # A range narrower than the last digit shown says no more than the value.
        return "" if low == high else f"{low} to {high}"

    def full(self, reading: Reading) -> str:
        """Return value, unit and interval in one text."""
        interval = self.interval(reading)
        return f"{self.value(reading)} ({interval})" if interval else self.value(reading)

    def _signed(self, plain: str) -> str:
        return plain.replace("-", self.minus)


PAGE = NumberStyle(minus="\u2212", space="\u00a0", group=",", times="\u202f×\u202f")
TERMINAL = NumberStyle(minus="-", space=" ", group="", times="x")


def unit_words(unit: str) -> str:
    """Return a unit's symbol as printed: ``%`` for percent."""
    return _UNIT_WORDS.get(unit, unit)


def decimals_of(reading: Reading) -> int:
    """Return how many digits after the point are worth showing.

    The registry's number, one fewer where the interval is wide, one more where it is narrow. Percents of distortion
    span many decades: without an interval they keep two digits.
    """
    entry = quantity(reading.quantity)
    half = 0.0 if reading.low is None or reading.high is None else (reading.high - reading.low) / 2
    if half > 0:
        # The last bit of a half-width of exactly 0.1 must not ask for another digit.
        worth = math.ceil(-math.log10(half) - 1e-6)
        most = _MOST_DECIMALS if entry.kind == "percent" else entry.decimals + 1
        if reading.unit.startswith("dB"):
            most = min(most, _MOST_DECIBEL_DECIMALS)
        return max(0, entry.decimals - 1, min(most, worth))
    if entry.kind == "percent" and 0 < abs(reading.value) < 1:
        return min(_MOST_DECIMALS, 1 - math.floor(math.log10(abs(reading.value))))
    if reading.bound is not None and reading.unit.startswith("dB") and abs(reading.value) >= _FAR_DB:
        return min(entry.decimals, 1)
    return entry.decimals


def bound_of(bound: str, value: float, decimals: int) -> tuple[str, float]:
    """Return the sign of a bound and its value, rounded so that the statement stays true."""
    sign = "<" if bound == "upper" else ">"
    scale = 10.0**decimals
    if not math.isfinite(value * scale):
        return sign, value
    # A value that is already round must not move by a digit for the last bit of its binary form.
    if math.isclose(value * scale, round(value * scale), rel_tol=1e-12):
        return sign, round(value, decimals)
    return sign, (math.ceil if bound == "upper" else math.floor)(value * scale) / scale


def bound_words(reading: Reading) -> str:
    """Return a bound as a sentence for people; nothing for a plain value."""
    if reading.bound == "upper":
        return "at most: noise hides the value"
    if reading.bound == "lower":
        return "at least: the value lies out of reach"
    return ""


def one_part_in(ratio_db: float) -> str:
    """Return a negative ratio in decibels as a plain fraction, ``1 part in 1,600``; two digits are kept."""
    factor = 10 ** (-ratio_db / 20)
    if factor < 2:
        return ""
    if factor >= 1e12:
        return "less than 1 part in a million million"
    step = 10 ** max(0, math.floor(math.log10(factor)) - 1)
    return f"1 part in {round(factor / step) * step:,}".replace(",", PAGE.group)


def voltage_change(gain_db: float) -> str:
    """Return a gain as a plain change of voltage: ``3.4 % less voltage``."""
    percent = 100 * (10 ** (gain_db / 20) - 1)
    if abs(percent) < 0.05:
        return "no change in voltage worth naming"
    shown = f"{abs(percent):.1f}" if abs(percent) < 10 else f"{abs(percent):.0f}"
    return f"{shown} % {'more' if percent > 0 else 'less'} voltage"


def hertz(frequency_hz: float, style: NumberStyle = PAGE) -> str:
    """Return a frequency with three digits: ``49.9 Hz``, ``2.50 kHz``."""
    if frequency_hz >= 1000:
        return style.with_unit(
            f"{frequency_hz / 1000:.3g}" if frequency_hz < 1e6 else f"{frequency_hz / 1000:.0f}", "kHz"
        )
    return style.with_unit(f"{frequency_hz:.3g}", "Hz")


def visible(text: str) -> str:
    """Return outside text with control characters, lone surrogates and direction overrides shown as escapes.

    Line breaks become spaces; letters of every language stay as they are.
    """
    return text if _HARMFUL.search(text) is None else _HARMFUL.sub(_shown, text)


def escaped(json_text: str) -> str:
    """Return JSON with the same characters as JSON escapes."""
    return _HARMFUL.sub(lambda found: f"\\u{ord(found.group()):04x}", json_text)


def sentence(text: str) -> str:
    """Return a sentence from outside as the page sets it: harmless, and with true minus signs before its numbers."""
    return _HYPHEN_MINUS.sub(PAGE.minus, visible(text))


def _shown(found: re.Match[str]) -> str:
    character = found.group()
    return " " if character in "\n\t\r" else character.encode("unicode_escape", "surrogatepass").decode("ascii")
