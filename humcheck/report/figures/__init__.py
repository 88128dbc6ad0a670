"""Figures as inline SVG of our own, light enough for a page that needs no network."""

from __future__ import annotations

from humcheck.report.catalogue import Catalogue, is_over_frequency
from humcheck.report.figures.audibility import audibility_figure
from humcheck.report.figures.curves import curve_figure
from humcheck.report.figures.figure import Figure
from humcheck.report.figures.level_multiples import level_multiples
from humcheck.report.figures.levels import level_figure
from humcheck.report.figures.lines import line_figure
from humcheck.report.figures.multiples import PORTS, response_multiples
from humcheck.report.figures.picture_coupling import picture_coupling_figure
from humcheck.report.figures.picture_fold import picture_fold_figure
from humcheck.report.figures.picture_levels import picture_levels_figure
from humcheck.report.figures.traces import trace_figures
from humcheck.report.order import AUDIBILITY, GROUPS, OTHER, Group
from humcheck.report.side_by_side import side_by_side

__all__ = ["Figure", "figures_of"]


def figures_of(catalogue: Catalogue) -> list[tuple[Group, list[Figure]]]:
    """Return the figures of every complaint that has any, in the order of complaints."""
    side = side_by_side(catalogue)
    made = [(PORTS, [figure for figure in (level_multiples(side), response_multiples(catalogue)) if figure])]
    for group in GROUPS:
        candidates = [level_figure(catalogue, group)]
        if group.families:
            candidates.append(line_figure(catalogue, group))
        if group.curve is not None:
            candidates.append(curve_figure(catalogue, group.curve, f"{group.key}-curve"))
        if group.key == "buzz":
            candidates += _of_the_picture(catalogue, group)
        made.append((group, [figure for figure in candidates if figure is not None]))
    heard = audibility_figure(catalogue)
    made.append((AUDIBILITY, [] if heard is None else [heard]))
    made.append((OTHER, [*_unknown_curves(catalogue), *trace_figures(catalogue)]))
    return [(group, figures) for group, figures in made if figures]


def _of_the_picture(catalogue: Catalogue, group: Group) -> list[Figure | None]:
    """Return what shows whether the buzz is the picture's: pictures against each other, coupling, the folded field."""
    return [
        picture_levels_figure(catalogue, "picture-levels"),
        picture_coupling_figure(catalogue, f"{group.key}-curve"),
        picture_fold_figure(catalogue, "picture-fold"),
    ]


def _unknown_curves(catalogue: Catalogue) -> list[Figure]:
    known = {name for group in GROUPS for name in (group.curve, *group.further)}
    rows = (*catalogue.results.curves, *filter(is_over_frequency, catalogue.results.traces))
    names = dict.fromkeys(row.quantity for row in rows if row.quantity not in known)
    candidates = [curve_figure(catalogue, name, f"other-curve-{index}") for index, name in enumerate(names)]
    return [figure for figure in candidates if figure is not None]
