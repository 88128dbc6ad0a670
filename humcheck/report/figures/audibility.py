"""Audibility: tones and hiss as they would stand at the ear, against what can just be heard there."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup

from humcheck.audio.levels import Floats
from humcheck.report.catalogue import Catalogue
from humcheck.report.figures import marks, svg
from humcheck.report.figures.audibility_panels import HeardPanel, Tone, heard_panels
from humcheck.report.figures.audibility_values import heard_data, heard_values
from humcheck.report.figures.figure import Figure, LegendItem, drawing, panel_title, swatch
from humcheck.report.figures.frame import (
    FRAMES,
    Box,
    Frame,
    Scale,
    hz_axis,
    hz_scale,
    panel_boxes,
    value_axis,
    value_scale,
)
from humcheck.report.figures.thin import highest_per_place
from humcheck.report.order import FAMILY_WORDS
from humcheck.report.text import PAGE, hertz

_KEY = "audibility"
_TITLE = "At the ear: tones and hiss against what can just be heard"
#: Below it nothing is heard at any frequency, and nothing is drawn.
_LOWEST_DB_SPL = -20.0
_STEP_DB = 20.0
#: Marks closer than this are one: the loudest stands for them.
_SPACING = 2.0


def audibility_figure(catalogue: Catalogue) -> Figure | None:
    """Return the figure of what is heard, or None where audibility was not predicted."""
    panels, left_out = heard_panels(catalogue)
    if not panels:
        return None
    description = " ".join(map(_described, panels))
    boxes: dict[str, list[list[float]]] = {}
    return Figure(
        key=_KEY,
        title=_TITLE,
        reading=_reading(panels),
        legend=tuple(_legend(panels)),
        drawings=tuple(_draw(frame, description, panels, boxes) for frame in FRAMES),
        data=heard_data(panels, boxes),
        values=heard_values(panels),
        note=_note(left_out),
    )


def _note(left_out: int) -> str:
    if not left_out:
        return ""
    others = "1 other is" if left_out == 1 else f"{left_out} others are"
    return f"Of each device the use that is heard most is drawn; {others} not."


def _reading(panels: Sequence[HeardPanel]) -> str:
    assumed = {panel.setting.name: panel.setting for panel in panels}.values()
    levels = "; ".join(
        f"{PAGE.with_unit(f'{setting.full_scale_db_spl:g}', 'dB')} {setting.words}, give or take "
        f"{PAGE.with_unit(f'{setting.uncertainty_db:g}', 'dB')}"
        for setting in assumed
    )
    return (
        "Each mark is one steady tone, low notes left, high notes right, loud ones up; the curve is the hiss, counted "
        "in bands as wide as the ear's own. Marks in the shaded area are not heard: they lie below the threshold of "
        "hearing, or the hiss and the room hide them. Tones that crowd together count together, so a dense comb is "
        "heard sooner than its single marks show. It is a prediction, and it stands or falls with the sound pressure "
        f"assumed for full scale: {levels}."
    )


def _described(panel: HeardPanel) -> str:
    heard = [tone for tone in panel.through if tone.above_db > 0]
    name = ", ".join(part for part in panel.name_parts if part)
    if not heard:
        return f"{name}: none of {len(panel.through)} tones stands above what can just be heard."
    most = max(heard, key=lambda tone: tone.above_db)
    above = PAGE.with_unit(PAGE.number(most.above_db, 0), "dB")
    return (
        f"{name}: {len(heard)} of {len(panel.through)} tones stand above what can just be heard, the one at "
        f"{hertz(most.frequency_hz)} by {above}."
    )


def _legend(panels: Sequence[HeardPanel]) -> list[LegendItem]:
    tones = [tone for panel in panels for tone in (*panel.through, *panel.direct)]
    paired = any(panel.direct_hiss is not None for panel in panels)
    channel = panels[0].channel or "mono"
    items = []
    for family, words in FAMILY_WORDS.items():
        if any(tone.family == family for tone in tones):
            drawn = svg.path(marks.shape(marks.FAMILY_SHAPES[family], 17, 8, 4.4), "filled ink")
            items.append(LegendItem(swatch=swatch(drawn), words=words))
    if paired:
        circle = marks.shape("circle", 8, 8, 4)
        direct = svg.join([svg.path(circle, "open direct"), svg.path("M16 8H33", "curve direct")])
        items.append(LegendItem(swatch=swatch(direct), words="direct: tones and hiss"))
    circle = marks.shape("circle", 8, 8, 4)
    own = svg.join([svg.path(circle, f"filled {channel}"), svg.path("M16 8H33", f"curve {channel}")])
    items.append(LegendItem(swatch=swatch(own), words="through: tones and hiss" if paired else "tones and hiss"))
    items.append(LegendItem(swatch=swatch(svg.path("M2 8H32", "curve ink")), words="threshold of hearing in silence"))
    if any(panel.room is not None for panel in panels):
        items.append(LegendItem(swatch=swatch(svg.path("M2 8H32", "curve bench")), words="the room's own noise"))
    items.append(LegendItem(swatch=swatch(svg.rectangle(3, 2, 28, 12, "invalid")), words="not heard"))
    return items


def _draw(
    frame: Frame, description: str, panels: Sequence[HeardPanel], boxes_by_frame: dict[str, list[list[float]]]
) -> Markup:
    boxes, height = panel_boxes(frame, len(panels), height=230.0, single_height=290.0)
    boxes_by_frame[frame.name] = [box.as_list() for box in boxes]
    loudest = max((tone.level_db_spl for panel in panels for tone in panel.through), default=0.0)
    high = max(80.0, math.ceil((loudest + 6.0) / 10.0) * 10.0)
    parts = [_panel(panel, box, high) for panel, box in zip(panels, boxes, strict=True)]
    return drawing(frame, _KEY, height, _TITLE, description, *parts)


def _panel(panel: HeardPanel, box: Box, high: float) -> Markup:
    across, up = hz_scale(box), value_scale(_LOWEST_DB_SPL, high, box)
    channel = panel.channel or "mono"
    rest = ", ".join(part for part in (panel.setting.words, panel.channel, panel.where) if part)
    axes = [
        panel_title(box.x, box.y - 22, panel.subject, rest, box.width),
        hz_axis(box, across),
        value_axis(box, up, _STEP_DB, "dB SPL"),
    ]
    parts = [
        _shade(panel, across, up, box),
        _curve(panel.frequency_hz, panel.threshold, across, up, "curve ink"),
    ]
    if panel.room is not None:
        parts.append(_curve(panel.frequency_hz, panel.room, across, up, "curve bench"))
    if panel.direct_hiss is not None:
        parts.append(_curve(panel.frequency_hz, panel.direct_hiss, across, up, f"curve direct {channel}"))
    parts.append(_curve(panel.frequency_hz, panel.hiss, across, up, f"curve {channel}"))
    parts.append(_marks(panel.direct, across, up, "open direct", 3.8))
    parts.append(_marks(panel.through, across, up, f"filled {channel}", 3.0))
    return svg.join([*axes, svg.tag("g", *parts, class_="field")])


def _shade(panel: HeardPanel, across: Scale, up: Scale, box: Box) -> Markup:
    """Return the area of what is not heard, from what can just be heard down to the foot of the panel."""
    top = [(across(hz), up(level)) for hz, level in zip(panel.frequency_hz, panel.limit, strict=True)]
    right = (box.right, top[-1][1])
    outline = svg.simplified([(box.x, top[0][1]), *top, right])
    return svg.path(svg.polyline([*outline, (box.right, box.bottom), (box.x, box.bottom)]) + "z", "invalid")


def _curve(frequency_hz: Floats, level: Floats, across: Scale, up: Scale, class_: str) -> Markup:
    """Return a curve as far as it lies on the scale."""
    stretches: list[list[tuple[float, float]]] = [[]]
    for hz, value in zip(frequency_hz, level, strict=True):
        if up.holds(value):
            stretches[-1].append((across(hz), up(value)))
        elif stretches[-1]:
            stretches.append([])
    return svg.path("".join(svg.polyline(svg.simplified(points)) for points in stretches), class_)


def _marks(tones: Sequence[Tone], across: Scale, up: Scale, class_: str, half: float) -> Markup:
    """Return the marks of tones, as many as the eye can tell apart."""
    inside = [tone for tone in tones if up.holds(tone.level_db_spl)]
    places = [across(tone.frequency_hz) for tone in inside]
    chosen = highest_per_place(places, [tone.level_db_spl for tone in inside], _SPACING)
    shapes = [
        marks.shape(marks.FAMILY_SHAPES[inside[index].family], places[index], up(inside[index].level_db_spl), half)
        for index in chosen
    ]
    return svg.path("".join(shapes), class_)
