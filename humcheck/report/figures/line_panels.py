"""What a line spectrum shows: the set-ups with findings, else each device's worst, a panel for each channel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from humcheck.report.catalogue import Catalogue, Setup, channels_in_order, worst
from humcheck.report.figures.frame import HIGHEST_HZ, LOWEST_HZ, Scale
from humcheck.report.figures.thin import highest_per_place
from humcheck.report.order import FAMILY_WORDS, SEVERITY_ORDER, Group, group_of_kind
from humcheck.results import Finding, Line, Measure

MOST_DEVICES = 10
#: So many set-ups of a device are drawn at most, where it is alone or one of two; of more devices the worst one each.
MOST_SETUPS = {1: 3, 2: 2}
MOST_MARKS = 300
#: Bounds further down than this are drawn at the scale's foot.
LOWEST_DBFS = -180.0

Identity = tuple[str, int | None, int | None, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePanel:
    """One channel of one set-up: its lines, those of the direct recording, and found lines of other families."""

    setup: Setup
    subject: str
    where: str
    channel: str
    through: list[Line]
    direct: list[Line]
    context: list[Line] = field(default_factory=list)

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
            shown = _shown_setups(catalogue, group, role, subject, setups)
            left_out += len(setups) - len(shown)
            for setup in shown:
                panels += _of_setup(catalogue, role, setup, lines, direct)
    if not panels and direct:
        setups = list(dict.fromkeys(Setup.of(line) for line in direct))
        setup = _worst_setup(catalogue, group, "direct", setups[0].subject, setups)
        left_out += len(setups) - 1
        panels = _of_setup(catalogue, "direct", setup, direct, [])
    return [_with_context(catalogue, group, panel) for panel in panels], left_out


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


def _shown_setups(catalogue: Catalogue, group: Group, role: str, subject: str, setups: Sequence[Setup]) -> list[Setup]:
    """Return the set-ups about whose lines something was found, the most serious first; else the worst one."""
    found = sorted(catalogue.results.findings, key=lambda row: SEVERITY_ORDER.index(row.severity))
    told = [
        Setup.of(row)
        for row in found
        if row.severity != "none" and group_of_kind(row.kind, row.quantity) is group and _points_to_lines(row)
    ]
    worst_one = _worst_setup(catalogue, group, role, subject, setups)
    wanted = dict.fromkeys([worst_one, *told] if worst_one in told else [*told, worst_one])
    most = MOST_SETUPS.get(len(catalogue.devices) or len(catalogue.singles), 1)
    return [setup for setup in wanted if setup in setups][:most]


def _points_to_lines(finding: Finding) -> bool:
    return any(pointer.line is not None for pointer in finding.evidence)


def _with_context(catalogue: Catalogue, group: Group, panel: LinePanel) -> LinePanel:
    """Return a panel with the strong lines of the families that its figure is not about."""
    own = panel.through[0]
    others = [family for family in FAMILY_WORDS if family not in group.families]
    lines = _drawable(catalogue.lines(own.role, others, own.subject))
    context = [
        line for line in lines if line.bound is None and line.channel == panel.channel and Setup.of(line) == panel.setup
    ]
    return replace(panel, context=context)


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
    catalogue: Catalogue, role: str, setup: Setup, lines: Sequence[Line], direct: Sequence[Line]
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
                setup=setup,
                subject="Direct" if role == "direct" else catalogue.title(setup.subject),
                where=catalogue.where(setup),
                channel=channel,
                through=own,
                direct=beside,
            )
        )
    return panels
