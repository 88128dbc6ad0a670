"""Differences in words for readers who do not know what a decibel is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from humcheck.findings.words import decibels, joined, percent
from humcheck.results import Change, Key, TakeRow

_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def count_words(count: int) -> str:
    """Return ``four``; figures from eleven on."""
    return _COUNTS[count] if count < len(_COUNTS) else str(count)


def factor_words(value_db: float) -> str:
    """Return how much stronger or weaker a difference is: ``about 16 times weaker``; empty where it is nothing."""
    factor = 10 ** (abs(value_db) / 20)
    if value_db < 0 and factor >= 2:
        return f"about {_rounded(factor)} times weaker"
    if value_db >= 0 and factor >= 1.5:
        return f"about {_rounded(factor)} times as strong"
    share = round(100 * (1 - 1 / factor)) if value_db < 0 else round(100 * (factor - 1))
    return f"about {share} % {'weaker' if value_db < 0 else 'stronger'}" if share else ""


def _rounded(factor: float) -> str:
    rounded = float(f"{factor:.2g}")
    return f"{rounded:,.0f}" if rounded >= 10 else f"{rounded:g}"


def size_words(change: Change, *, digits: int = 1) -> str:
    """Return the size of a difference without its direction: ``at least 24.1 dB``."""
    value = abs(change.value)
    told = percent(value) if change.unit == "percent" else decibels(value, digits if value >= 1 or digits > 1 else 2)
    return f"at least {told}" if change.bound is not None else told


def difference_in_words(change: Change, noun: str, *, aside: bool = True) -> str:
    """Return ``24.1 dB less hum (about 16 times weaker)``; of level ``a level 3.5 dB lower``.

    Parameters
    ----------
    change : Change
        The difference.
    noun : str
        What there is more or less of.
    aside : bool
        Whether the size is also told in words.
    """
    if noun == "balance":
        side = "left" if change.value > 0 else "right"
        return f"a balance shifted to the {side} by {size_words(change, digits=2)}"
    in_words = "" if change.unit == "percent" or not aside else factor_words(change.value)
    ending = f" ({in_words})" if in_words else ""
    if noun == "level":
        return f"a level {size_words(change, digits=2)} {'higher' if change.value > 0 else 'lower'}{ending}"
    return f"{size_words(change)} {'more' if change.value > 0 else 'less'} {noun}{ending}"


def channel_in(change: Change) -> str:
    """Return `` in the left channel``; nothing where there is one channel, or both are meant."""
    return f" in the {change.channel} channel" if change.channel in ("left", "right") else ""


def within_words(nouns_by_margin: Mapping[str, Sequence[str]]) -> str:
    """Return ``level and hum within 0.3 dB and distortion within 0.01 %``."""
    return joined([f"{joined(nouns)} within {margin}" for margin, nouns in nouns_by_margin.items()])


def margin_words(change: Change) -> str:
    """Return the margin of a change with its unit."""
    margin = change.margin or 0.0
    return f"{margin:g} %" if change.unit == "percent" else f"{margin:g} dB"


def condition_words(name: str, now: str | None, before: str | None) -> str:
    """Return ``supply off instead of on``; what a take does not say is as usual."""
    usual = "as usual"
    return f"{name} {usual if now is None else now} instead of {usual if before is None else before}"


def listed(words: Sequence[str], most: int = 4) -> str:
    """Return words joined, those beyond `most` counted only."""
    if len(words) <= most:
        return joined(list(words))
    return joined([*words[:most], f"{len(words) - most} more"])


def capital(text: str) -> str:
    """Return a sentence with a capital at its start."""
    return text[:1].upper() + text[1:]


def way_words(key: Key | TakeRow) -> list[str]:
    """Return how a device was used, each part in words; the fix is none of it."""
    parts = [] if key.port is None else [f"port {key.port}"]
    parts += [] if key.picture is None else [f"{key.picture} picture"]
    return parts + [f"{name} {value}" for name, value in sorted(key.condition.items())]
