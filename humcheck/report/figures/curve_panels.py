"""What a figure of curves shows: for each device its worst set-up, its other set-ups faintly behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from humcheck.report.catalogue import Catalogue, Setup, channels_in_order
from humcheck.report.figures.thin import thinned
from humcheck.results import Curve, quantity

MOST_DEVICES = 10
MOST_BEHIND = 24
_LEAST_POINTS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One curve of a panel.

    Attributes
    ----------
    kind : str
        ``"recorder"`` for the bench's own floor, ``"direct"`` for the control, else ``"through"``.
    chosen : list of int
        Indices of the points that are drawn and read.
    """

    kind: str
    curve: Curve
    chosen: list[int]

    @classmethod
    def of(cls, kind: str, curve: Curve) -> Drawn:
        """Return a curve with its points chosen."""
        return cls(kind=kind, curve=curve, chosen=thinned(curve.frequency_hz, curve.value))


@dataclass(slots=True, kw_only=True)
class CurvePanel:
    """One device, or one channel of it.

    Attributes
    ----------
    curves : list of Drawn
        Drawn in full, the control first.
    behind : list of Curve
        Other set-ups of the same device, drawn faintly.
    """

    subject: str
    where: str
    channel: str = ""
    curves: list[Drawn] = field(default_factory=list)
    behind: list[Curve] = field(default_factory=list)

    def name_parts(self, item: Drawn) -> tuple[str, ...]:
        """Return the parts of a curve's name, from the widest to the narrowest."""
        return self.subject, self.where, item.curve.channel, item.kind


def curve_panels(catalogue: Catalogue, name: str) -> tuple[list[CurvePanel], int]:
    """Return the panels of a curve quantity, and how many set-ups stand behind or are left out."""
    direct = _long_enough(catalogue.curves(name, "direct"))
    panels: list[CurvePanel] = []
    others = 0
    for role, subjects in (("through", catalogue.devices[:MOST_DEVICES]), ("single", catalogue.singles[:MOST_DEVICES])):
        for subject in subjects:
            curves = catalogue.curves(name, role, subject) or catalogue.curves(name, "added", subject)
            curves = _long_enough(curves)
            setups = list(dict.fromkeys(Setup.of(curve) for curve in curves))
            if setups:
                others += len(setups) - 1
                panels += _of_device(catalogue, subject, _worst_setup(name, setups, curves), curves, direct)
    if not panels and direct:
        setups = list(dict.fromkeys(Setup.of(curve) for curve in direct))
        others += len(setups) - 1
        panels = _of_device(catalogue, "direct", setups[0], direct, [])
    return panels, others


def _long_enough(curves: Sequence[Curve]) -> list[Curve]:
    """Return the curves that are more than a few points above the noise: those stand in the results file."""
    return [curve for curve in curves if len(curve.frequency_hz) >= _LEAST_POINTS]


def _of_device(
    catalogue: Catalogue, subject: str, setup: Setup, curves: Sequence[Curve], direct: Sequence[Curve]
) -> list[CurvePanel]:
    """Return one panel for each channel where a control stands beside, else one panel with all channels."""
    mine = [curve for curve in curves if Setup.of(curve) == setup]
    behind = [curve for curve in curves if Setup.of(curve) != setup]
    channels = channels_in_order(curve.channel for curve in mine)
    separate = [channel for channel in channels if channel != "both"] or channels
    title = catalogue.title(subject)
    if not direct:
        drawn = [Drawn.of("through", curve) for curve in mine if curve.channel in separate]
        drawn.sort(key=lambda item: separate.index(item.curve.channel))
        return [CurvePanel(subject=title, where=catalogue.where(setup), curves=drawn, behind=behind[:MOST_BEHIND])]
    panels = []
    for channel in separate:
        own = next(curve for curve in mine if curve.channel == channel)
        control = catalogue.control(own, direct)
        panel = CurvePanel(subject=title, where=catalogue.where(setup), channel=channel)
        floor = next((curve for curve in catalogue.curves(own.quantity, "recorder") if curve.channel == channel), None)
        if floor is not None:
            panel.curves.append(Drawn.of("recorder", floor))
        if control is not None:
            panel.curves.append(Drawn.of("direct", control))
        panel.curves.append(Drawn.of("through", own))
        panel.behind = [curve for curve in behind if curve.channel == channel][:MOST_BEHIND]
        panels.append(panel)
    return panels


def _worst_setup(name: str, setups: Sequence[Setup], curves: Sequence[Curve]) -> Setup:
    """Return the set-up whose curve is worst: the highest where less is better, else the least level one."""
    if len(setups) == 1:
        return setups[0]
    by_height = quantity(name).lower_is_better is not None

    def badness(curve: Curve) -> float:
        return max(curve.value) if by_height else max(curve.value) - min(curve.value)

    return Setup.of(max(curves, key=badness))
