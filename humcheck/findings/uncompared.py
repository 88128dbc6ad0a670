"""Uses of a device that could not be set against the direct takes: nothing may be concluded of them."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings.index import RowIndex, Use, use_of, uses_of
from humcheck.results import Finding

KIND = "not-compared"
_NOISES = ("noise_level", "hum_level", "hiss_level", "tone_level")


def uncompared_findings(rows: RowIndex) -> Iterator[Finding]:
    """Yield of each use whether nothing of it could be set against a direct take, and why.

    Silence about it would read as if the device did nothing.
    """
    compared = {use_of(row) for row in rows.keys("added")}
    compared |= {use_of(row) for row in rows.results.changes if row.contrast == "direct"}
    for use in uses_of(rows, "through"):
        channels = _channels(use)
        if use_of(use.key) in compared or not channels:
            continue
        yield Finding(
            **use.key.fields(quantity="take", channel="both"),
            id=f"{KIND}-{use.words}",
            kind=KIND,
            severity="none",
            sentence=f"What {use.subject} adds is not known: {_reason(rows, channels)}.",
        )


def _reason(rows: RowIndex, channels: set[str]) -> str:
    direct = {row.channel for row in rows.measures_of_role("direct") if row.quantity in _NOISES}
    if not direct:
        return "there is no direct recording to set it against; record the same path without it"
    if ("mono" in direct) != ("mono" in channels):
        mono, stereo = ("direct recording", "one through it")
        if "mono" in channels:
            mono, stereo = "recording through it", "direct one"
        return f"the {mono} is mono and the {stereo} is stereo; record both alike"
    return "no direct recording fits the one through it; record both alike"


def _channels(use: Use) -> set[str]:
    return {channel for name in _NOISES for channel in use.measures(name, "through")}
