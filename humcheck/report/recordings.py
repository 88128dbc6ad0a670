"""The recordings and what could not be measured from them, as tables."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from humcheck.report.catalogue import Catalogue, Setup
from humcheck.report.order import ROLE_WORDS, group_of, rank, title_of
from humcheck.report.summary import limit_words
from humcheck.report.text import PAGE, NumberStyle, visible
from humcheck.results import Fault, Key, TakeRow

#: More quantities that a fault spoils are not named one by one.
_MOST_SPOILED = 4
_CHANNEL_MAP_WORDS = {
    "straight": "left and right as they should be",
    "swapped": "left and right exchanged",
    "merged": "left and right merged",
    "left-only": "left only",
    "right-only": "right only",
    "mono-source": "the source is mono",
    "none": "no sound passes",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Recording:
    """One take as shown."""

    file: str
    sha256: str
    role: str
    where: str
    sound: str
    track: str
    clock: tuple[str, ...]
    path: tuple[str, ...]
    faults: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """A quantity that could not be measured, with the places that share the reason."""

    title: str
    places: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A limit of the user's and what became of it."""

    title: str
    place: str
    limit: str
    source: str
    outcome: str
    passed: bool | None


def recordings(catalogue: Catalogue, style: NumberStyle = PAGE) -> list[Recording]:
    """Return every take in the order of the results file."""
    return [_recording(take, style) for take in catalogue.results.takes]


def controls(catalogue: Catalogue, style: NumberStyle = PAGE) -> list[Recording]:
    """Return the bench's own takes without a device: direct ones, and those of its floor."""
    roles = ("direct", "recorder", "source_off")
    return [_recording(take, style) for take in catalogue.results.takes if take.role in roles]


def missing(catalogue: Catalogue) -> list[Missing]:
    """Return what was not measured; rows with one quantity and reason share a line."""
    places: dict[tuple[str, str], dict[str, None]] = {}
    for row in sorted(catalogue.results.not_measured, key=lambda item: rank(item.quantity)):
        places.setdefault((row.quantity, row.reason), {})[_place(catalogue, row)] = None
    return [
        Missing(title=title_of(name), places="; ".join(where), reason=visible(reason))
        for (name, reason), where in places.items()
    ]


def limits(catalogue: Catalogue, style: NumberStyle = PAGE) -> list[Limit]:
    """Return the user's limits."""
    words = {"pass": "met", "fail": "not met", "not_measurable": "could not be measured"}
    return [
        Limit(
            title=title_of(row.quantity),
            place=_place(catalogue, row),
            limit=limit_words(row.quantity, row.min, row.max, style),
            source=visible(row.source),
            outcome=words[row.outcome],
            passed={"pass": True, "fail": False}.get(row.outcome),
        )
        for row in sorted(catalogue.results.limits, key=lambda item: rank(item.quantity))
    ]


def _place(catalogue: Catalogue, row: Key) -> str:
    return ", ".join(part for part in (catalogue.title(row.subject), catalogue.where(row), row.channel) if part)


def _recording(take: TakeRow, style: NumberStyle) -> Recording:
    where = ", ".join(part for part in (visible(take.device or ""), Setup.of(take).words) if part)
    seconds = style.with_unit(style.number(take.duration_s, 1), "s")
    rate = style.with_unit(f"{take.rate_hz / 1000:g}", "kHz")
    return Recording(
        file=visible(take.file),
        sha256=visible(take.sha256),
        role=ROLE_WORDS.get(take.role, take.role),
        where=where,
        sound=f"{visible(take.sample_format)}, {rate}, {_channels(take.channels)}, {seconds}",
        track=_track(take),
        clock=tuple(_clock(take, style)),
        path=tuple(_path(take, style)),
        faults=tuple(_fault(fault, style) for fault in take.faults),
    )


def _channels(count: int) -> str:
    return {1: "mono", 2: "stereo"}.get(count, f"{count} channels")


def _track(take: TakeRow) -> str:
    if take.track is None:
        return "none recognised"
    return visible(f"{take.track.name}, {take.track.length}, layout {take.track.layout}")


def _clock(take: TakeRow, style: NumberStyle) -> Iterable[str]:
    if take.offset_s is not None:
        yield f"starts at {style.with_unit(style.number(take.offset_s, 4), 's')}"
    if take.drift_ppm is not None:
        yield f"drift {style.with_unit(style.number(take.drift_ppm, 2), 'ppm')}"


def _path(take: TakeRow, style: NumberStyle) -> Iterable[str]:
    if take.gain_db is not None:
        yield f"gain {style.with_unit(style.number(take.gain_db, 2), 'dB')}"
    if take.polarity is not None:
        yield "polarity inverted" if take.polarity < 0 else "polarity kept"
    if take.channel_map is not None:
        yield visible(_CHANNEL_MAP_WORDS.get(take.channel_map, take.channel_map))


def _fault(fault: Fault, style: NumberStyle) -> str:
    parts = [visible(fault.sentence)]
    if fault.start_s is not None:
        end = "" if fault.end_s is None else f" to {style.with_unit(style.number(fault.end_s, 2), 's')}"
        start = style.number(fault.start_s, 2) if end else style.with_unit(style.number(fault.start_s, 2), "s")
        parts.append(f"({start}{end}{'' if fault.channel is None else ', ' + fault.channel})")
    if fault.spoils:
        parts.append(f"Spoils: {spoiled(fault)}.")
    return " ".join(parts)


def spoiled(fault: Fault) -> str:
    """Return what a fault spoils; of many quantities the complaints that they belong to."""
    if len(fault.spoils) <= _MOST_SPOILED:
        return ", ".join(title_of(name) for name in fault.spoils)
    return ", ".join(dict.fromkeys(group_of(name).title.lower() for name in sorted(fault.spoils, key=rank)))
