"""Numbers in words, for readers who do not know what a decibel is."""

from __future__ import annotations

import math
from collections.abc import Sequence

from humcheck.results import Change, Measure

_CHANNEL_WORDS = {
    "left": "the left channel",
    "right": "the right channel",
    "both": "both channels",
    "mono": "the channel",
}


def channel_words(channel: str) -> str:
    """Return ``the left channel`` and the like."""
    return _CHANNEL_WORDS.get(channel, channel)


def weaker_in_words(level_dbr: float, loudest: str = "the loudest sound of the track") -> str:
    """Return how much weaker than the loudest sound a level is, as a factor rounded to two digits."""
    factor = 10 ** (-level_dbr / 20)
    if factor < 1.5:
        return f"about as strong as {loudest}"
    digits = 1 if factor < 10 else -(len(str(int(factor))) - 2)
    rounded = round(factor, digits)
    return f"about {rounded:,.0f} times weaker than {loudest}"


def decibels(value: float, digits: int = 1) -> str:
    """Return ``12.3 dB``, without a minus sign on zero."""
    rounded = round(value, digits) + 0.0
    return f"{rounded:.{digits}f} dB"


def with_sign(value: float, digits: int = 2) -> str:
    """Return ``+0.12 dB``."""
    rounded = round(value, digits) + 0.0
    return f"{rounded:+.{digits}f} dB"


def percent(value: float, *, at_most: bool = False) -> str:
    """Return a share in percent with two digits and no powers of ten: ``0.000026 %``; a limit is rounded up."""
    digits = max(0, 1 - math.floor(math.log10(value))) if value > 0 else 0
    if at_most:
        value = math.ceil(value * 10.0**digits - 1e-9) / 10.0**digits
    return f"{value:.{digits}f} %"


def at_most_db(value: float) -> str:
    """Return an upper limit in whole decibels, rounded up so that it stays true: ``-109 dB`` of -109.9."""
    return f"{math.ceil(value - 1e-9) + 0:.0f} dB"


def certainty(row: Measure | Change) -> str:
    """Return what the interval rests on."""
    told = row.n_takes if isinstance(row, Measure) else row.reference.get("n_takes")
    takes = told if isinstance(told, int) else 1
    if row.bound is not None:
        return "a limit: the value itself is hidden by noise (95 %)"
    if isinstance(row, Change) and row.distinguishable is not None:
        told = "larger" if row.distinguishable else "no larger"
        return f"{told} than the scatter from take to take (95 %)"
    if takes > 1:
        return f"from {takes} takes"
    return "from one take: repeatability unknown"


def joined(parts: Sequence[str]) -> str:
    """Return parts of a sentence as ``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
