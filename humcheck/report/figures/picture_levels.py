"""White against black: how strong hum, buzz, whistle, hiss and noise are under each picture."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from markupsafe import Markup

from humcheck.report.catalogue import Catalogue, Setup, channels_in_order
from humcheck.report.figures import marks, svg
from humcheck.report.figures.figure import Figure, LegendItem, ValueTable, drawing, swatch
from humcheck.report.figures.frame import FRAMES, Box, Frame, Scale, nice_range, tick_text, ticks
from humcheck.report.text import PAGE, unit_words, visible
from humcheck.results import Change, Measure, quantity

BLACK = "black"
QUANTITIES = ("hum_level", "buzz_level", "whistle_level", "hiss_level", "noise_level")
MOST_USES = 5
_TITLE = "A bright picture against a black one"
_READING = (
    "Each row is one channel with one kind of noise, once for each picture that was shown. Where the marks stand "
    "together, the picture makes no difference; where a bright picture's mark stands right of the black one's, the "
    "picture is what is heard. The figure beside the row is the largest difference from black."
)
_SHAPES = ("circle", "square", "triangle", "pentagon", "bar")
_HALF = 4.6


@dataclass(frozen=True, slots=True)
class _Row:
    """One channel of one noise: the level under each picture, and what each changes re black."""

    label: str
    channel: str
    levels: dict[str, Measure]
    changes: dict[str, Change]

    @property
    def largest(self) -> tuple[str, Change] | None:
        """The picture that changes most, a value before a bound; a bound that leaves either direction open is none."""
        told = [item for item in self.changes.items() if _says_something(item[1])]
        return max(told, key=lambda item: (item[1].bound is None, abs(item[1].value)), default=None)


def _says_something(change: Change) -> bool:
    return change.bound is None or (change.value > 0 if change.bound == "lower" else change.value < 0)


def picture_levels_figure(catalogue: Catalogue, key: str) -> Figure | None:
    """Return the figure of levels by picture, or None where no other picture stands beside a black one."""
    uses = list(_uses(catalogue))
    left_out = len(uses) - MOST_USES
    panels = [
        (quantity(name).title, [row for use, role in uses[:MOST_USES] for row in _rows(catalogue, name, use, role)])
        for name in QUANTITIES
    ]
    panels = [(title, rows) for title, rows in panels if rows]
    if not panels:
        return None
    pictures = _pictures(panels)
    description = " ".join(_described(title, row) for title, rows in panels for row in rows)
    return Figure(
        key=key,
        title=_TITLE,
        reading=_READING,
        legend=tuple(_legend(panels, pictures)),
        drawings=tuple(_draw(frame, key, description, panels, pictures) for frame in FRAMES),
        values=_values(panels),
        note=f"{left_out} further uses stand in the tables." if left_out > 0 else "",
        setups=frozenset(Setup.of(level) for _, rows in panels for row in rows for level in row.levels.values()),
    )


def _uses(catalogue: Catalogue) -> Iterable[tuple[Setup, str]]:
    """Yield what was recorded with a black picture and with another, devices first; the picture is left out."""
    shown: dict[tuple[Setup, str], set[str | None]] = {}
    for role in ("through", "single", "direct"):
        for name in ("buzz_level", "noise_level"):
            for row in catalogue.measures(name, role):
                shown.setdefault((replace(Setup.of(row), picture=None), role), set()).add(row.picture)
    for use, pictures in shown.items():
        if BLACK in pictures and len(pictures - {BLACK, None}) > 0:
            yield use


def _rows(catalogue: Catalogue, name: str, use: Setup, role: str) -> list[_Row]:
    levels: dict[str, dict[str, Measure]] = {}
    for measure in catalogue.measures(name, role, use.subject):
        if measure.picture is not None and replace(Setup.of(measure), picture=None) == use:
            levels.setdefault(measure.channel, {})[measure.picture] = measure
    changes: dict[str, dict[str, Change]] = {}
    for change in catalogue.changes(name, use.subject, "picture"):
        if change.picture is not None and replace(Setup.of(change), picture=None) == use and change.role == role:
            changes.setdefault(change.channel, {})[change.picture] = change
    channels = channels_in_order(levels)
    where = catalogue.where(use)
    label = ", ".join(part for part in (catalogue.title(use.subject), where) if part)
    return [
        _Row(label, channel, levels[channel], changes.get(channel, {}))
        for channel in [one for one in channels if one != "both"] or channels
        if BLACK in levels[channel] and len(levels[channel]) > 1
    ]


def _pictures(panels: Sequence[tuple[str, Sequence[_Row]]]) -> list[str]:
    """Return all pictures: black, white, then the others as they come."""
    seen = dict.fromkeys(picture for _, rows in panels for row in rows for picture in row.levels)
    return [*(name for name in (BLACK, "white") if name in seen), *(n for n in seen if n not in (BLACK, "white"))]


def _described(title: str, row: _Row) -> str:
    levels = "; ".join(f"{visible(picture)} {PAGE.full(level)}" for picture, level in row.levels.items())
    return f"{title}, {row.label}, {row.channel}: {levels}."


def _legend(panels: Sequence[tuple[str, Sequence[_Row]]], pictures: Sequence[str]) -> Iterable[LegendItem]:
    for picture in pictures:
        mark = _mark(picture, pictures, 17, 8, "ink")
        yield LegendItem(swatch=swatch(mark), words=f"{visible(picture)} picture")
    if any(level.bound for _, rows in panels for row in rows for level in row.levels.values()):
        arrow = swatch(svg.path(marks.arrow_sideways(26, 8, 4.5, left=True), "bound"))
        yield LegendItem(swatch=arrow, words="at most: lies somewhere to the left")


def _mark(picture: str, pictures: Sequence[str], x: float, y: float, channel: str) -> Markup:
    """Return a picture's mark: a full disc for black, an open one for white, other open shapes for others."""
    if picture == BLACK:
        return svg.path(marks.shape("circle", x, y, _HALF - 1.0), f"filled {channel}")
    others = [name for name in pictures if name != BLACK]
    shape = _SHAPES[others.index(picture) % len(_SHAPES)]
    return svg.path(marks.shape(shape, x, y, _HALF), f"open {channel}")


def _draw(
    frame: Frame,
    key: str,
    description: str,
    panels: Sequence[tuple[str, Sequence[_Row]]],
    pictures: Sequence[str],
) -> Markup:
    wide = frame.name == "wide"
    left, right = (frame.width * 0.285, frame.width * 0.66) if wide else (8.0, frame.width - 8.0)
    values = [
        value
        for _, rows in panels
        for row in rows
        for level in row.levels.values()
        for value in (level.value, level.low, level.high)
        if value is not None
    ]
    low, high, step = nice_range(min(values) - 6, max(values) + 4, least_span=40, most_ticks=7 if wide else 5)
    parts: list[Markup] = []
    y, height = 2.0, 26.0 if wide else 42.0
    for title, rows in panels:
        parts.append(svg.text(0 if wide else left, y + 12, title, "panel strong"))
        y += 20
        box = Box(left, y, right - left, height * len(rows))
        across = Scale(low, high, box.x, box.right)
        parts += [svg.line((across(v), box.y), (across(v), box.bottom), "grid") for v in ticks(low, high, step)]
        for index, row in enumerate(rows):
            said = index == 0 or rows[index - 1].label != row.label
            parts.append(_draw_row(row, y + index * height, height, box, across, pictures, wide=wide, said=said))
        y = box.bottom + 8
    whole = Scale(low, high, left, right)
    for value in ticks(low, high, step):
        parts.append(svg.text(whole(value), y + 6, tick_text(value, step), "tick", anchor="middle"))
    unit = unit_words(next(iter(panels[0][1][0].levels.values())).unit)
    place = (right + 18, y + 6) if wide else (right, y + 24)
    parts.append(svg.text(*place, unit, "axis", anchor=None if wide else "end"))
    return drawing(frame, key, y + (16 if wide else 34), _TITLE, description, *parts)


def _draw_row(
    row: _Row,
    top: float,
    height: float,
    box: Box,
    across: Scale,
    pictures: Sequence[str],
    *,
    wide: bool,
    said: bool,
) -> Markup:
    y = top + (height / 2 if wide else height - 13)
    words = _change_words(row, whole=wide)
    parts = []
    if wide:
        if said:
            parts.append(svg.text(0, y + 4, svg.shorten(row.label, box.x - 62), "row"))
        parts.append(svg.text(box.x - 14, y + 4, row.channel, "tick", anchor="end"))
        parts.append(svg.text(box.right + 18, y + 4, words, "value"))
    else:
        label = ", ".join((row.label, row.channel))
        parts.append(svg.text(box.x, top + 16, svg.shorten(label, box.width * 0.45), "row"))
        parts.append(svg.text(box.right, top + 16, svg.shorten(words, box.width * 0.55), "value", anchor="end"))
    parts.append(svg.line((box.x, y), (box.right, y), "track"))
    for picture in sorted(row.levels, key=lambda name: pictures.index(name) if name != BLACK else len(pictures)):
        parts.append(_placed(row, picture, y, across, pictures))
    return svg.join(parts)


def _placed(row: _Row, picture: str, y: float, across: Scale, pictures: Sequence[str]) -> Markup:
    level = row.levels[picture]
    x = across(level.value)
    parts = []
    if level.bound is not None:
        arrow = marks.arrow_sideways(x, y, _HALF, left=level.bound == "upper")
        parts.append(svg.path(arrow, f"bound {row.channel}"))
    if level.low is not None and level.high is not None:
        parts.append(svg.line((across(level.low), y), (across(level.high), y), f"whisker {row.channel}"))
    parts.append(_mark(picture, pictures, x, y, row.channel))
    return svg.join(parts)


def _change_words(row: _Row, *, whole: bool) -> str:
    """Return the largest difference from black, with its interval where there is room."""
    largest = row.largest
    if largest is None:
        return "no difference seen"
    picture, change = largest
    return f"{visible(picture)}: {_with_sign(change, whole=whole)}"


def _with_sign(change: Change, *, whole: bool = True) -> str:
    sign = "+" if change.bound is None and change.value > 0 else ""
    return f"{sign}{PAGE.full(change) if whole else PAGE.value(change)}"


def _values(panels: Sequence[tuple[str, Sequence[_Row]]]) -> ValueTable:
    rows = []
    for title, of_panel in panels:
        for row in of_panel:
            for picture, level in row.levels.items():
                change = row.changes.get(picture)
                said = "" if picture == BLACK else "none seen" if change is None else _with_sign(change)
                name = f"{title}, {row.label}, {row.channel}"
                rows.append((name, visible(picture), PAGE.full(level), said))
    return ValueTable(
        headings=("Noise", "Picture", "Level", "Difference from black"), rows=tuple(rows), caption="The same as numbers"
    )
