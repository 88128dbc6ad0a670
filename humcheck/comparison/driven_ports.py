"""Bleed of ports: the track is played into one port while another is selected, and sought in what comes out.

A take with the condition ``driven_port`` was made so. It is no take of the selected port's own sound: what of it belongs
to a signal is dropped, and only its noise counts as any other's.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from humcheck.comparison.intervals import NORMAL_95, mean_of_repeats
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import Occasion
from humcheck.comparison.repeats import aggregate_repeats, estimate_of
from humcheck.comparison.tones import gain_level
from humcheck.results import QUANTITIES, Key, Measure, NotMeasured
from humcheck.results.rows import Channel

DRIVEN_PORT = "driven_port"
BLEED = "bleed_1k"
_CHANNELS: tuple[Channel, ...] = ("left", "right")


def is_driven_elsewhere(take: MeasuredTake) -> bool:
    """Return whether another port than the selected one was played into."""
    return take.role == "through" and DRIVEN_PORT in take.row.condition


def noise_alone(take: MeasuredTake) -> MeasuredTake:
    """Return a take without what belongs to the signal: of a foreign sound it would be no property of this port."""
    return replace(
        take,
        measures=tuple(row for row in take.measures if f"{row.quantity}_rel" in QUANTITIES),
        curves=tuple(row for row in take.curves if row.quantity in ("noise_spectrum", "hiss_spectrum")),
        traces=(),
        not_measured=(),
        tones=None,
        responses=(),
    )


def bleed_rows(takes: Sequence[MeasuredTake], occasions: Mapping[str, Occasion]) -> list[Measure | NotMeasured]:
    """Return `bleed_1k` of each take in which another port is driven, repeats averaged.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        All takes of the bench.
    occasions : mapping of str to Occasion
        By the takes' ids.

    Returns
    -------
    list of Measure or NotMeasured
        For each channel the level of the 997 Hz tone, only that channel driven, re the same in the direct takes; where
        the take does not even show the track, an upper bound from the loudest peak of the take.
    """
    direct = [take for take in takes if take.role == "direct"]
    rows: list[Measure] = []
    missing: list[NotMeasured] = []
    for take in takes:
        if not is_driven_elsewhere(take):
            continue
        for channel in _CHANNELS:
            row = _bleed(take, channel, direct)
            if isinstance(row, Measure):
                rows.append(row)
            else:
                missing.append(row)
    return [*aggregate_repeats(rows, occasions), *missing]


def _bleed(take: MeasuredTake, channel: Channel, direct: Sequence[MeasuredTake]) -> Measure | NotMeasured:
    fields = take.key.fields(quantity=BLEED, channel=channel)
    received = [row for one in direct for row in _tone(one, channel)]
    if not received:
        return NotMeasured(**fields, reason="No direct take holds the tone of this channel, which bleed is counted from.")
    reference = mean_of_repeats(
        [row.value for row in received], [estimate_of(row).standard_uncertainty for row in received]
    )
    own = next(_tone(take, channel), None)
    if own is not None:
        half = NORMAL_95 * (estimate_of(own).standard_uncertainty ** 2 + reference.standard_uncertainty**2) ** 0.5
        value = own.value - reference.value
        return Measure(
            **fields,
            value=value,
            unit="dB",
            low=value - half,
            high=value + half,
            interval="within",
            takes=[take.row.id],
        )
    bound = _bound(take, channel, reference.value, direct)
    if bound is not None:
        return Measure(**fields, value=bound, unit="dB", bound="upper", takes=[take.row.id])
    return NotMeasured(**fields, reason="The tone of the driven port is not heard, and nothing tells how weak it is.")


def _tone(take: MeasuredTake, channel: Channel) -> Iterator[Measure]:
    """Yield how much louder than in the track the tone arrives, if it is heard."""
    tones = take.tones
    tone = None if tones is None else tones.alone.get(channel)
    if tones is not None and tone is not None and bool(tone.heard[0, 0]):
        row = gain_level(tones, Key(subject="", role=take.role, quantity="gain"), channel)
        if row is not None:
            yield row


def _bound(
    take: MeasuredTake, channel: Channel, reference_db: float, direct: Sequence[MeasuredTake]
) -> float | None:
    """Return what the tone has at most: no more than the loudest peak of the take."""
    peaks = [row.value for row in take.measures if row.quantity == "peak_level" and row.channel in (channel, "mono")]
    nominal = [one.tones.alone_nominal_dbfs for one in direct if one.tones is not None]
    known = [level for level in nominal if level is not None]
    return max(peaks) - known[0] - reference_db if peaks and known else None
