"""All pictures of one results file: one idea each, and only those for which there is data."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import msgspec

from humcheck.report.catalogue import Catalogue
from humcheck.report.publish.canvas import can_draw, quiet
from humcheck.report.publish.names import FileNames
from humcheck.report.text import visible
from humcheck.results import Results

_ROWS = ("measures", "changes", "curves", "traces", "lines", "findings", "not_measured")


@dataclass(frozen=True, slots=True)
class Picture:
    """One PNG file, and what it shows."""

    name: str
    words: str
    content: bytes


class DrawnCatalogue(Catalogue):
    """A catalogue whose names can be drawn: a name that the font lacks letters for is a number instead."""

    def __init__(self, results: Results, titles: dict[str, str] | None = None) -> None:
        super().__init__(results)
        subjects = [*self.devices, *self.singles]
        names = [super(DrawnCatalogue, self).title(subject) for subject in subjects]
        made = {
            subject: _drawn(name, at) for at, (subject, name) in enumerate(zip(subjects, names, strict=True), start=1)
        }
        self.drawn_titles = made if titles is None else titles

    def title(self, subject: str) -> str:
        """Return the name that is drawn."""
        known = getattr(self, "drawn_titles", {})
        return known[subject] if subject in known else super().title(subject)

    @property
    def stand_ins(self) -> dict[str, str]:
        """Drawn names that are not the devices' own, with those."""
        return {
            title: visible(subject)
            for subject, title in self.drawn_titles.items()
            if title.startswith("Device ") and title != visible(subject)
        }

    def of_device(self, subject: str) -> DrawnCatalogue:
        """Return the rows of one device and of no other, with the control's."""
        others = {*self.devices, *self.singles} - {subject}
        rows = {name: [row for row in getattr(self.results, name) if row.subject not in others] for name in _ROWS}
        return DrawnCatalogue(msgspec.structs.replace(self.results, **rows), self.drawn_titles)


def _drawn(title: str, number: int) -> str:
    """Return a name without signs that cannot be drawn, or a number where letters of it cannot."""
    letters = re.sub(r"[\W_]+", "", title)
    kept = " ".join("".join(sign for sign in title if can_draw(sign)).split())
    return kept if letters and can_draw(letters) and kept else f"Device {number}"


def pictures_of(
    catalogue: Catalogue, names: FileNames, words: Mapping[str, str]
) -> tuple[list[Picture], dict[str, str]]:
    """Return the card, pictures of all devices together, and those of each device; and names that stand for others.

    Parameters
    ----------
    catalogue : Catalogue
        All rows.
    names : FileNames
        Names that are taken.
    words : mapping of str to str
        A word for each subject.
    """
    with quiet():
        drawn = DrawnCatalogue(catalogue.results)
        return list(_pictures(catalogue, drawn, names, words)), drawn.stand_ins


def _pictures(
    catalogue: Catalogue, drawn: DrawnCatalogue, names: FileNames, words: Mapping[str, str]
) -> Iterator[Picture]:
    from humcheck.report.publish.card import card_picture
    from humcheck.report.publish.curve_pictures import bleed_picture, response_picture
    from humcheck.report.publish.line_picture import line_picture
    from humcheck.report.publish.row_pictures import row_pictures

    card = card_picture(drawn)
    if card is not None:
        yield Picture(names.new("card", ending="png"), "all devices in a line each, square", card)
    for key, what, content in row_pictures(drawn):
        yield Picture(names.new(key, ending="png"), what, content)
    for subject in (*drawn.devices, *drawn.singles):
        own, title = drawn.of_device(subject), catalogue.title(subject)
        for key, what, make in (
            ("response", "whether every note is passed on alike", response_picture),
            ("lines", "hum and buzz, tone by tone", line_picture),
            ("bleed", "how far left and right are kept apart", bleed_picture),
        ):
            made = make(own)
            if made is not None:
                yield Picture(names.new(key, words[subject], ending="png"), f"{title}: {what}", made)
