"""Several saved benches in one page: each apart with its own direct takes, joined only where that is allowed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from humcheck.audio.writing import MARK
from humcheck.report import recordings
from humcheck.report.catalogue import Catalogue
from humcheck.report.environment import environment, policy
from humcheck.report.excerpts import Listening
from humcheck.report.figures.ruler import ruler
from humcheck.report.glance import glance, in_short, lead, shortened, when_words
from humcheck.report.joint import JointTable, joint_table
from humcheck.report.order import GROUPS
from humcheck.report.side_by_side import SideBySide, side_by_side
from humcheck.report.summary import Card, cards
from humcheck.report.text import visible
from humcheck.results import Results
from humcheck.version import __version__

_SILENT = Listening(groups=(), n_absent=0, folder="", links={})


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchivedBench:
    """One bench as the archive shows it.

    Attributes
    ----------
    anchor : str
        Its place in the page.
    controls : list of Recording
        Its own direct takes, and those of its own floor.
    """

    anchor: str
    name: str
    created: str
    lead: str
    results: Results
    cards: list[Card]
    short: list[Any]
    glance: list[Any]
    side: SideBySide
    controls: list[recordings.Recording]


def same_bench(results: Sequence[Results]) -> tuple[int, int] | None:
    """Return the places of two results of one bench, or None where all are of different ones."""
    seen: dict[str, int] = {}
    for place, one in enumerate(results):
        if one.bench.id in seen:
            return seen[one.bench.id], place
        seen[one.bench.id] = place
    return None


def render_archive(results: Sequence[Results]) -> str:
    """Return one page of several benches.

    Parameters
    ----------
    results : sequence of Results
        Each of another bench.

    Returns
    -------
    str
        Self-contained HTML, as `render_page` returns it.

    Raises
    ------
    ValueError
        If two results are of the same bench.
    """
    twice = same_bench(results)
    if twice is not None:
        raise ValueError(f"results {twice[0]} and {twice[1]} are of the same bench")
    catalogues = [Catalogue(one, prefix=f"bench-{number}-") for number, one in enumerate(results, start=1)]
    names = _distinct_names(results)
    benches = [_archived(catalogue, name) for catalogue, name in zip(catalogues, names, strict=True)]
    joint: JointTable = joint_table(catalogues, names)
    title = f"{len(results)} benches: what {_devices(catalogues)} do to the sound"
    return (
        environment()
        .get_template("archive.html.j2")
        .render(
            generator=f"{MARK} {__version__}",
            policy=policy(with_sounds=False),
            title=title,
            short_title=shortened(title),
            benches=benches,
            joint=joint,
            groups=GROUPS,
            figure_of=lambda finding: None,
            listening=_SILENT,
            ruler=ruler(),
            has_direct=True,
            has_devices=True,
            versions=sorted({one.numbers_version for one in results}),
        )
    )


def _devices(catalogues: Sequence[Catalogue]) -> str:
    count = len({device for catalogue in catalogues for device in catalogue.devices})
    return f"{count} device{'s' if count != 1 else ''}"


def _distinct_names(results: Sequence[Results]) -> list[str]:
    """Return the names of the benches, those that are the same told apart by their times, then by numbers."""
    names = [visible(one.bench.name) for one in results]
    for tell in (lambda one, _: when_words(one.created), lambda _, number: f"no. {number}"):
        names = [
            f"{name}, {tell(one, number)}" if names.count(name) > 1 else name
            for number, (name, one) in enumerate(zip(names, results, strict=True), start=1)
        ]
    return names


def _archived(catalogue: Catalogue, name: str) -> ArchivedBench:
    made = [replace(card, is_brief=True) for card in cards(catalogue)]
    return ArchivedBench(
        anchor=catalogue.prefix.rstrip("-"),
        name=name,
        created=when_words(catalogue.results.created),
        lead=lead(catalogue),
        results=catalogue.results,
        cards=made,
        short=in_short(made),
        glance=glance(catalogue),
        side=side_by_side(catalogue),
        controls=recordings.controls(catalogue),
    )
