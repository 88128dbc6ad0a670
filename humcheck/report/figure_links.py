"""Which figure shows a finding."""

from __future__ import annotations

from collections.abc import Sequence

from humcheck.report.catalogue import Setup
from humcheck.report.figures import Figure
from humcheck.report.order import Group, group_of, group_of_kind
from humcheck.results import Finding

Numbered = Sequence[tuple[Group, Sequence[tuple[int, Figure]]]]


def figure_of(finding: Finding, figures: Numbered) -> int | None:
    """Return the number of the figure that shows what a finding rests on, or None where none does.

    Lines are shown by the line spectrum, if it draws the finding's set-up, curves by the curve, all else by the chart
    of levels; where that is missing, by any figure of the same complaint that draws the set-up.
    """
    group = group_of_kind(finding.kind, finding.quantity)
    if group.key == "bleed":
        # A picture that bleeds is drawn among the figures of buzz.
        group = group_of(finding.quantity)
    numbered = next((of_group for shown, of_group in figures if shown.key == group.key), ())
    setup = Setup.of(finding)
    drawn = {figure.key: number for number, figure in numbered if figure.setups is None or setup in figure.setups}
    wanted = []
    if any(pointer.line is not None for pointer in finding.evidence):
        wanted.append(f"{group.key}-lines")
    if any(pointer.curve is not None for pointer in finding.evidence):
        wanted.append(f"{group.key}-curve")
    wanted.append(f"{group.key}-levels")
    named = next((drawn[key] for key in wanted if key in drawn), None)
    return named if named is not None else next(iter(drawn.values()), None)
