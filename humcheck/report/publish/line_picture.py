"""A picture of one device's hum and buzz, tone by tone, the direct path beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from humcheck.report.catalogue import Catalogue, Setup
from humcheck.report.figures.frame import Box, Scale, hz_scale, value_scale
from humcheck.report.figures.line_panels import LOWEST_DBFS, LinePanel, line_panels
from humcheck.report.figures.marks import FAMILY_SHAPES
from humcheck.report.figures.thin import highest_per_place
from humcheck.report.order import FAMILY_WORDS, GROUPS
from humcheck.report.publish.canvas import DIRECT, INK, Canvas, width_of
from humcheck.report.publish.frame import Explained, footer, heading, hz_grid, legend, value_grid
from humcheck.report.publish.spoken import about, clause_words
from humcheck.report.text import hertz
from humcheck.results import Line
from humcheck.results.rows import Family

_FAMILIES: dict[Family, tuple[str, str]] = {
    "mains": ("#0a64a4", "hum: from the mains"),
    "field": ("#b44a00", "buzz: from the picture"),
    "mains_or_field": ("#0b7558", "hum or buzz"),
    "line_rate": ("#8f1446", "whistle: the picture's lines"),
    "digital": ("#3c5a86", FAMILY_WORDS["digital"]),
    "other": (INK, FAMILY_WORDS["other"]),
}
_QUANTITIES = ("hum_level", "buzz_level", "hum_and_buzz_level", "whistle_level")
_NAMED = 4
_READING = "Each mark is one steady tone (of many side by side the strongest). 20 dB less is ten times weaker."
#: Marks nearer to each other than this, in pixels, would run into one another.
_APART = 20.0


def line_picture(catalogue: Catalogue) -> bytes | None:
    """Return the tones of hum and buzz in the device's worst use, or None where none was found."""
    panels = [panel for group in GROUPS if group.families for panel in line_panels(catalogue, group)[0]]
    found = [panel for panel in panels if _levels(panel.through) and panel.setup.subject != "direct"]
    if not found:
        return None
    subject = found[0].setup.subject
    chosen = _chosen(catalogue, subject, found)
    mine = [panel for panel in panels if (panel.setup, panel.channel) == (chosen.setup, chosen.channel)]
    through = [line for panel in mine for line in panel.through if line.bound is None]
    direct = [line for panel in mine for line in panel.direct if line.bound is None]
    findings = [row for row in about(catalogue, _QUANTITIES, subject) if Setup.of(row) == chosen.setup]
    name = catalogue.title(subject)
    title = clause_words(catalogue, findings[0]) if findings else f"Steady tones through {name}"
    return _draw(catalogue, f"{title}: tone by tone", chosen, through, direct)


def _chosen(catalogue: Catalogue, subject: str, panels: Sequence[LinePanel]) -> LinePanel:
    """Return the use and channel of the most serious finding, else that with the strongest tone."""
    for row in about(catalogue, _QUANTITIES, subject)[:1]:
        for panel in panels:
            if (panel.setup, panel.channel) == (Setup.of(row), row.channel):
                return panel
    return max(panels, key=lambda panel: max(_levels(panel.through)))


def _levels(lines: Sequence[Line]) -> list[float]:
    return [line.level_dbfs for line in lines if line.bound is None]


def _draw(catalogue: Catalogue, title: str, panel: LinePanel, through: Sequence[Line], direct: Sequence[Line]) -> bytes:
    where = ", ".join(part for part in (panel.where, panel.channel if panel.channel != "mono" else "") if part)
    canvas = Canvas()
    top = heading(canvas, title, _READING)
    box = Box(210, top + 46, 1580, 838 - top - 46)
    levels = [max(level, LOWEST_DBFS) for level in _levels([*through, *direct])]
    low, high = math.floor((min(levels) - 5) / 20) * 20.0, math.ceil((max(levels) + 10) / 20) * 20.0
    across, up = hz_scale(box), value_scale(low, high, box)
    hz_grid(canvas, box, across)
    value_grid(canvas, box, up, 20.0, unit="dBFS", where=where)
    shown, beside = _apart(through, across), _apart(direct, across)
    for family, lines in _by_family(shown).items():
        x, y = _places(lines, across, up)
        stems = [value for at in x for value in (at, at, math.nan)]
        canvas.line(stems, [value for top in y for value in (box.bottom, top, math.nan)], _FAMILIES[family][0], 4)
    for family, lines in _by_family(beside).items():
        canvas.marks(*_places(lines, across, up), FAMILY_SHAPES[family], 12, DIRECT, filled=False)
    for family, lines in _by_family(shown).items():
        canvas.marks(*_places(lines, across, up), FAMILY_SHAPES[family], 8, _FAMILIES[family][0])
    _names(canvas, shown, list(zip(*_places(shown, across, up), strict=True)), box)
    legend(canvas, _legend(shown, beside), 978)
    footer(canvas, catalogue)
    return canvas.png()


def _apart(lines: Sequence[Line], across: Scale) -> list[Line]:
    """Return the strongest line of each place, so that marks stand apart."""
    places = [across(line.frequency_hz) for line in lines]
    return [lines[index] for index in highest_per_place(places, [line.level_dbfs for line in lines], _APART)]


def _by_family(lines: Sequence[Line]) -> dict[Family, list[Line]]:
    found: dict[Family, list[Line]] = {}
    for line in lines:
        found.setdefault(line.family, []).append(line)
    return found


def _places(lines: Sequence[Line], across: Scale, up: Scale) -> tuple[list[float], list[float]]:
    return [across(line.frequency_hz) for line in lines], [up(line.level_dbfs) for line in lines]


def _names(canvas: Canvas, lines: Sequence[Line], places: Sequence[tuple[float, float]], box: Box) -> None:
    """Name the strongest tones, as far as their names do not meet."""
    taken: list[tuple[float, float]] = []
    for line, (x, y) in sorted(zip(lines, places, strict=True), key=lambda item: -item[0].level_dbfs):
        words = hertz(line.frequency_hz)
        half = width_of(words, 30, bold=True) / 2 + 8
        inside = min(max(x, box.x + half), box.right - half)
        hidden = any(abs(other - inside) < half + 10 and y - 58 < height < y - 4 for other, height in places)
        met = any(abs(other - inside) < half + its for other, its in taken)
        if hidden or met or len(taken) == _NAMED:
            continue
        taken.append((inside, half))
        canvas.text(inside, y - 22, words, 30, bold=True, align="center")


def _legend(shown: Sequence[Line], direct: Sequence[Line]) -> list[Explained]:
    families = [family for family in FAMILY_WORDS if any(line.family == family for line in shown)]
    items = [Explained(FAMILY_SHAPES[family], *_FAMILIES[family]) for family in families]
    if direct:
        items.append(Explained(FAMILY_SHAPES[direct[0].family], DIRECT, "the same, direct", filled=False))
    return items
