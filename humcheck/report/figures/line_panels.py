"""What a line spectrum shows: for each device its worst set-up, a panel for each channel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from humcheck.report.catalogue import Catalogue, Setup, channels_in_order, worst
from humcheck.report.figures.frame import HIGHEST_HZ, LOWEST_HZ, Scale
from humcheck.report.figures.thin import highest_per_place
from humcheck.report.order import Group
from humcheck.results import Line, Measure

MOST_DEVICES = 10
MOST_MARKS = 300
#: Bounds further down than this are drawn at the scale's foot.
LOWEST_DBFS = -180.0

Identity = tuple[str, int | None, int | None, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePanel:
    """One channel of one set-up: its lines, and those of the direct recording."""

    subject: str
    where: str
    channel: str
    through: list[Line]
    direct: list[Line]

    @property
    def name_parts(self) -> tuple[str, ...]:
        """Parts of the panel's name, from the widest to the narrowest."""
        return self.subject, self.where, self.channel

    @property
    def words(self) -> str:
        """The whole name."""
        return ", ".join(part for part in self.name_parts if part)


def line_panels(catalogue: Catalogue, group: Group) -> tuple[list[LinePanel], int]:
    """Return the panels of a group's families, and how many set-ups are not drawn."""
    direct = _drawable(catalogue.lines("direct", group.families))
    panels: list[LinePanel] = []
    left_out = 0
    for role, subjects in (("through", catalogue.devices[:MOST_DEVICES]), ("single", catalogue.singles[:MOST_DEVICES])):
        for subject in subjects:
            lines = _drawable(catalogue.lines(role, group.families, subject))
            setups = list(dict.fromkeys(Setup.of(line) for line in lines))
            if not setups:
                continue
            setup = _worst_setup(catalogue, group, role, subject, setups)
            left_out += len(setups) - 1
            panels += _of_setup(catalogue, subject, setup, lines, direct)
    if not panels and direct:
        setups = list(dict.fromkeys(Setup.of(line) for line in direct))
        setup = _worst_setup(catalogue, group, "direct", setups[0].subject, setups)
        left_out += len(setups) - 1
        panels = _of_setup(catalogue, "direct", setup, direct, [])
    return panels, left_out


def identity(line: Line) -> Identity:
    """Return what makes a line the same line in another take: its place in its family, else its frequency."""
    return line.family, line.harmonic, line.sideband, round(line.frequency_hz) if line.harmonic is None else 0


def drawn_lines(lines: Sequence[Line], across: Scale) -> list[Line]:
    """Return the lines that are drawn: all that were found, and as many bounds as the eye can tell apart."""
    found = [line for line in lines if line.bound is None]
    bounds = [line for line in lines if line.bound is not None]
    return [*_highest(found, across, 2.0), *_highest(bounds, across, 9.0)][:MOST_MARKS]


def _highest(lines: Sequence[Line], across: Scale, spacing: float) -> list[Line]:
    places = [across(line.frequency_hz) for line in lines]
    return [lines[index] for index in highest_per_place(places, [line.level_dbfs for line in lines], spacing)]


def _drawable(lines: Sequence[Line]) -> list[Line]:
    return [line for line in lines if LOWEST_HZ <= line.frequency_hz <= HIGHEST_HZ]


def _worst_setup(catalogue: Catalogue, group: Group, role: str, subject: str, setups: Sequence[Setup]) -> Setup:
    """Return the set-up with the highest level of the group's families, else the first."""
    if len(setups) == 1:
        return setups[0]
    rows: list[Measure] = [
        row
        for name in group.headline
        for row in catalogue.measures(name, role, subject)
        if Setup.of(row) in setups and row.bound is None
    ]
    highest = worst(rows)
    return setups[0] if highest is None else Setup.of(highest)


def _of_setup(
    catalogue: Catalogue, subject: str, setup: Setup, lines: Sequence[Line], direct: Sequence[Line]
) -> list[LinePanel]:
    mine = [line for line in lines if Setup.of(line) == setup]
    channels = channels_in_order(line.channel for line in mine)
    separate = [channel for channel in channels if channel != "both"] or channels
    panels = []
    for channel in separate:
        own = [line for line in mine if line.channel == channel]
        control = catalogue.control(own[0], direct)
        beside = (
            []
            if control is None
            else [line for line in direct if line.channel == channel and Setup.of(line) == Setup.of(control)]
        )
        panels.append(
            LinePanel(
                subject=catalogue.title(subject),
                where=catalogue.where(setup),
                channel=channel,
                through=own,
                direct=beside,
            )
        )
    return panels
