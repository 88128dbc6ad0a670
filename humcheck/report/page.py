"""The page: one self-contained HTML text made from a results object."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from humcheck.audio.writing import MARK
from humcheck.report import recordings, tables
from humcheck.report.blind import blind_test
from humcheck.report.catalogue import Catalogue
from humcheck.report.change_words import VERDICTS
from humcheck.report.changes import change_tables
from humcheck.report.environment import environment, policy
from humcheck.report.excerpts import listening, other_files
from humcheck.report.figure_links import figure_of
from humcheck.report.figures import Figure, figures_of
from humcheck.report.figures.ruler import ruler
from humcheck.report.glance import glance, in_short, lead, shortened, when_words
from humcheck.report.number_data import folded_numbers, is_long
from humcheck.report.order import GROUPS
from humcheck.report.side_by_side import side_by_side
from humcheck.report.summary import cards
from humcheck.report.text import visible
from humcheck.report.truth import TruthRow, truth_lines
from humcheck.results import Quantity, Results
from humcheck.results.severity import SCALES
from humcheck.version import __version__

__all__ = ["render_page", "when_words"]


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
            short_title=shortened(_title(catalogue)),
            lead=lead(catalogue),
            common=catalogue.common,
            created=when_words(results.created),
            cards=made,
            short=in_short(made),
            glance=glance(catalogue),
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
    for what, ohms in (("Source", settings.source_ohms), ("Load", settings.load_ohms)):
        if ohms is not None:
            listed.append((f"{what}, resistance", f"{ohms:g} ohm"))
    for statement in settings.listening:
        name, _, assumed = statement.partition(": ")
        listed.append((f"Listening, {name}", assumed))
    return listed
