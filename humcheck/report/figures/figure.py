"""What every figure consists of, and how its drawing is wrapped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from humcheck.report.catalogue import Setup
from humcheck.report.figures import svg
from humcheck.report.figures.frame import Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class LegendItem:
    """One entry of a legend: a small drawing and its words."""

    swatch: Markup
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueTable:
    """The same figure as numbers."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of the page.

    Attributes
    ----------
    key : str
        Unique in the page; from the program, never from outside.
    title : str
        What the figure shows.
    reading : str
        How to read it, in plain words.
    legend : tuple of LegendItem
        Words for the marks used.
    drawings : tuple of Markup
        The drawing in both widths.
    data : dict or None
        What the script reads values from.
    values : ValueTable or None
        The same as numbers.
    note : str
        What is not drawn, and where it is.
    setups : frozenset of Setup or None
        The set-ups that it shows; None where it shows all.
    """

    key: str
    title: str
    reading: str
    legend: tuple[LegendItem, ...]
    drawings: tuple[Markup, ...]
    data: dict[str, Any] | None = None
    values: ValueTable | None = None
    note: str = ""
    setups: frozenset[Setup] | None = None


def distinct_names(names: Sequence[tuple[str, ...]]) -> list[str]:
    """Return short names: only those parts that are needed to tell one from another.

    Parameters
    ----------
    names : sequence of tuple of str
        Parts of each name, as many for each; empty parts are left out.
    """
    told = list(range(len(names[0]))) if names else []
    # The longest parts go first, as long as what is left still tells every name from every other.
    for place in sorted(told, key=lambda place: -sum(len(name[place]) for name in names)):
        rest = [other for other in told if other != place]
        if rest and len({tuple(name[other] for other in rest) for name in names}) == len(set(names)):
            told = rest
    return [", ".join(name[place] for place in told if name[place]) or "value" for name in names]


def drawing(frame: Frame, key: str, height: float, title: str, description: str, *content: Markup) -> Markup:
    """Return a figure's SVG in one width, with its title and description for readers who cannot see it."""
    name = f"{key}-{frame.name}"
    return svg.tag(
        "svg",
        svg.tag("title", title, id=f"{name}-title"),
        svg.tag("desc", description, id=f"{name}-desc"),
        *content,
        viewBox=f"0 0 {svg.number(frame.width)} {svg.number(height)}",
        class_=f"drawing {frame.name}",
        role="img",
        aria_labelledby=f"{name}-title",
        aria_describedby=f"{name}-desc",
    )


def swatch(*content: Markup) -> Markup:
    """Return a legend's small drawing, hidden from readers who hear the page: its words stand beside it."""
    return svg.tag("svg", *content, viewBox="0 0 34 16", class_="swatch", aria_hidden="true", focusable="false")


def panel_title(x: float, y: float, strong: str, rest: str, room: float) -> Markup:
    """Return a panel's heading: the name in bold, the rest beside it, cut to the room there is."""
    name = svg.shorten(strong, room, per_character=7.2)
    left = room - 7.2 * len(name) - 14
    parts: list[Markup | str] = [svg.tag("tspan", name, class_="strong")]
    if rest and left > 40:
        parts.append(svg.tag("tspan", svg.shorten(rest, left), dx=8 if name else 0))
    return svg.tag("text", *parts, x=x, y=y, class_="panel")
