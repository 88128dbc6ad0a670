"""Crackle while a plug is moved, and the thump of switching over: from takes in which nothing plays."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.audio.levels import amplitude_to_dbfs
from humcheck.estimates.clicks import Clicks
from humcheck.results import Key, Measure, NotMeasured
from humcheck.results.rows import Channel

#: Condition of a take that says what was done meanwhile, such as ``plug moved`` or ``switched over``.
EVENT = "event"
CLICK_RATE, THUMP = "click_rate", "thump_level"


def click_rows(clicks: Sequence[Clicks], key: Key, channels: Sequence[Channel]) -> list[Measure | NotMeasured]:
    """Return `click_rate` and `thump_level` of each channel.

    Parameters
    ----------
    clicks : sequence of Clicks
        One for each channel.
    key : Key
        What the take belongs to.
    channels : sequence of str
        Names of the channels.
    """
    if not clicks:
        return [NotMeasured(**key.fields(quantity=CLICK_RATE), reason="The take is shorter than a second.")]
    rows: list[Measure | NotMeasured] = []
    for channel, found in zip(channels, clicks, strict=False):
        detail = {"clicks": float(found.times_s.size), "duration_s": found.duration_s}
        fields = key.fields(quantity=CLICK_RATE, channel=channel)
        rows.append(Measure(**fields, value=found.per_minute, unit="1/min", detail=detail))
        thump = key.fields(quantity=THUMP, channel=channel)
        if found.peaks.size:
            at_s = float(found.times_s[found.peaks.argmax()])
            value = amplitude_to_dbfs(float(found.peaks.max()))
            rows.append(Measure(**thump, value=value, unit="dBFS", detail={"at_s": at_s}))
        else:
            rows.append(NotMeasured(**thump, reason="No click or thump stood out of the noise."))
    return rows
