"""The page: one self-contained HTML text made from a results object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from humcheck.audio.writing import MARK
from humcheck.report import recordings, tables
from humcheck.report.blind import blind_test
from humcheck.report.catalogue import Catalogue
from humcheck.report.changes import VERDICTS, change_tables
from humcheck.report.environment import environment, policy
from humcheck.report.excerpts import listening, other_files
from humcheck.report.figure_links import figure_of
from humcheck.report.figures import Figure, figures_of
from humcheck.report.figures.ruler import ruler
from humcheck.report.number_data import folded_numbers, is_long
from humcheck.report.order import GROUPS, SEVERITY_ORDER, SEVERITY_WORDS, group_of_kind
from humcheck.report.side_by_side import side_by_side
from humcheck.report.summary import cards
from humcheck.report.text import visible
from humcheck.report.truth import TruthRow, truth_lines
from humcheck.results import Quantity, Results
from humcheck.results.severity import SCALES
from humcheck.version import __version__

_LONGEST_TITLE = 60
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def render_page(
    results: Results,
    *,
    truth: Sequence[TruthRow] = (),
    sounds: Mapping[str, bytes] | None = None,
) -> str:
    """Return the report as one self-contained HTML page.

    Parameters
    ----------
    results : Results
        All rows; the page shows nothing that is not in them.
    truth : sequence of TruthRow, optional
        What a simulation used, shown beside what was measured.
    sounds : mapping of str to bytes, optional
        The excerpts' FLAC files by the ids of their media rows; they become part of the page.

    Returns
    -------
    str
        HTML that loads nothing from anywhere; it carries the mark of this tool's own output near its beginning.
    """
    catalogue = Catalogue(results)
    made = cards(catalogue)
    figures = _numbered(figures_of(catalogue))
    number_tables = tables.group_tables(catalogue)
    quantities = tables.shown_quantities(number_tables)
    listed = {entry.name for entry in quantities}
    # A level's twin in dBr is the same thing on another scale, which the method explains once.
    definitions = [entry for entry in quantities if entry.name.removesuffix("_rel") not in listed - {entry.name}]
    folded, number_data = folded_numbers(catalogue, number_tables) if is_long(number_tables) else ([], {})
    simulated, simulated_count = truth_lines(catalogue, truth)
    heard = listening(results, sounds or {})
    return (
        environment()
        .get_template("page.html.j2")
        .render(
            results=results,
            generator=f"{MARK} {__version__}",
            policy=policy(with_sounds=heard.playable),
            title=_title(catalogue),
            short_title=_shortened(_title(catalogue)),
            lead=_lead(catalogue),
            common=catalogue.common,
            created=when_words(results.created),
            cards=made,
            glance=_glance(catalogue),
            groups=GROUPS,
            figures=figures,
            figure_data={figure.key: figure.data for _, numbered in figures for _, figure in numbered if figure.data},
            figure_of=lambda finding: figure_of(finding, figures),
            scales=SCALES,
            ruler=ruler(),
            tables=number_tables,
            folded=folded,
            number_data=number_data,
            columns=tables.COLUMNS,
            definitions=definitions,
            anchors=_anchors(quantities),
            truth=simulated,
            truth_count=simulated_count,
            limits=recordings.limits(catalogue),
            contrasts=change_tables(catalogue),
            verdicts=VERDICTS,
            side=side_by_side(catalogue),
            missing=recordings.missing(catalogue),
            recordings=recordings.recordings(catalogue),
            listening=heard,
        blind=blind_test(heard),
            other_files=other_files(results),
            settings=_settings(results),
            commands=results.commands,
            has_direct=catalogue.has_direct,
            has_devices=bool(catalogue.devices),
        )
    )


def when_words(created: str) -> str:
    """Return an ISO time as ``3 February 2026, 14:25 UTC``; anything else as it stands."""
    try:
        moment = datetime.fromisoformat(created)
    except ValueError:
        return visible(created)
    zone = " UTC" if moment.utcoffset() is not None and not moment.utcoffset() else ""
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}, {moment:%H:%M}{zone}"


def _title(catalogue: Catalogue) -> str:
    if len(catalogue.devices) == 1:
        return f"What {visible(catalogue.devices[0])} does to the sound"
    if catalogue.devices:
        return f"{visible(catalogue.results.bench.name)}: what {len(catalogue.devices)} devices do to the sound"
    if len(catalogue.singles) == 1:
        return f"What is in {catalogue.title(catalogue.singles[0])}"
    if catalogue.singles:
        return f"What is in {len(catalogue.singles)} recordings"
    if catalogue.has_direct:
        return "What this bench can resolve"
    return "A sound test without results"


def _shortened(title: str) -> str:
    return title if len(title) <= _LONGEST_TITLE else title[: _LONGEST_TITLE - 1] + "…"


def _lead(catalogue: Catalogue) -> str:
    takes = catalogue.results.takes
    if not takes:
        return "No recording was measured."
    counts = {role: sum(take.role == role for take in takes) for role in ("direct", "through", "single")}
    other = len(takes) - sum(counts.values())
    words = (
        (counts["direct"], "direct, without a device"),
        (counts["through"], "through a device"),
        (counts["single"], "inspected alone"),
        (other, "of the bench's own floor"),
    )
    said = [(count, what) for count, what in words if count]
    recordings_words = f"{len(takes)} recording{'s' if len(takes) > 1 else ''}"
    if len(said) == 1:
        return f"{recordings_words}, {said[0][1]}."
    return f"{recordings_words}: {'; '.join(f'{count} {what}' for count, what in said)}."


def _glance(catalogue: Catalogue) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return, for two and more devices, the most serious finding of each complaint."""
    if len(catalogue.devices) < 2:
        return []
    worst: dict[tuple[str, str], int] = {}
    for row in catalogue.results.findings:
        place = (row.subject, group_of_kind(row.kind, row.quantity).key)
        worst[place] = min(worst.get(place, 99), SEVERITY_ORDER.index(row.severity))
    lines = []
    for subject in catalogue.devices:
        steps = [worst.get((subject, group.key)) for group in GROUPS]
        severities = ["" if step is None else SEVERITY_ORDER[step] for step in steps]
        lines.append(
            (catalogue.title(subject), [(step, SEVERITY_WORDS.get(step, "Not judged")) for step in severities])
        )
    return lines


def _numbered(figures: list[tuple[Any, list[Figure]]]) -> list[tuple[Any, list[tuple[int, Figure]]]]:
    """Return the figures with their numbers, counted through the page."""
    count = 0
    numbered = []
    for group, made in figures:
        with_numbers = []
        for figure in made:
            count += 1
            with_numbers.append((count, figure))
        numbered.append((group, with_numbers))
    return numbered


def _anchors(quantities: Sequence[Quantity]) -> dict[str, str]:
    """Return the place of each quantity's definition; names from outside are no part of it."""
    places = {entry.name: f"q{index}" for index, entry in enumerate(quantities)}
    return {name: places.get(name.removesuffix("_rel"), place) for name, place in places.items()}


def _settings(results: Results) -> list[tuple[str, str]]:
    settings = results.settings
    mains = "found from the recording" if settings.mains_hz is None else f"{settings.mains_hz:g} Hz, given"
    volts = "not calibrated" if settings.volts_at_full_scale is None else f"{settings.volts_at_full_scale:g} V"
    listed = [("Mains frequency", mains), ("Volts at full scale", volts)]
    for statement in settings.listening:
        name, _, assumed = statement.partition(": ")
        listed.append((f"Listening, {name}", assumed))
    return listed
