"""The folder for publishing: made whole in memory, refused before anything is written, written file by file."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from humcheck.audio.writing import MARK, own_output, refuse_link, refuse_to_overwrite, write_whole
from humcheck.errors import UnusableCall
from humcheck.report.catalogue import Catalogue
from humcheck.report.publish import tables_csv
from humcheck.report.publish.names import FileNames, words_of_subjects
from humcheck.report.publish.sheets import sheet_page, units_of
from humcheck.report.publish.summary_text import as_markdown, as_text, summary_of
from humcheck.report.text import sentence, visible
from humcheck.results import Results
from humcheck.version import __version__

CONTENTS = "CONTENTS.txt"
_FIXED = (CONTENTS, "summary.md", "summary.txt", "measures.csv", "changes.csv", "curves.csv", "lines.csv")
_FOLDERS = ("sheets", "sounds")
#: Names that this tool gives; no other file is ever taken away.
_OWN_NAME = re.compile(r"(?:(?:sheets|sounds)/)?[a-z0-9-]+\.(?:png|html|flac|csv|md|txt)")
_FLAC = b"fLaC"


@dataclass(frozen=True, slots=True)
class Item:
    """One file: its name relative to the folder, what it is, and its content."""

    name: str
    words: str
    content: bytes | str


@dataclass(frozen=True, slots=True)
class Publication:
    """All files of the folder, the index last."""

    items: tuple[Item, ...]

    def refuse(self, folder: str | os.PathLike[str], *, force: bool = False) -> None:
        """Raise if anything could not be written, or would replace a file that is not our own.

        Raises
        ------
        UnusableCall
            If the folder cannot be made, or a name in it is taken by a folder.
        WouldOverwrite
            If a file exists that is not our own, and `force` is not given.
        """
        refuse_place(folder, force=force)
        for item in self.items:
            path = Path(folder) / item.name
            if path.parent.is_dir():
                refuse_link(path)
                refuse_to_overwrite(path, force=force)

    def write(self, folder: str | os.PathLike[str], *, force: bool = False) -> list[Path]:
        """Write all files and return their paths; files of an earlier run that are not written again go away."""
        self.refuse(folder, force=force)
        home = Path(folder)
        earlier = _listed(home / CONTENTS)
        paths = []
        for item in self.items:
            path = home / item.name
            _make(home)
            _make(path.parent)
            write_whole(path, item.content, force=force)
            paths.append(path)
        for name in earlier - {item.name for item in self.items}:
            _take_away(home / name)
        return paths


def write_publication(
    results: Results,
    folder: str | os.PathLike[str],
    *,
    sounds: Mapping[str, bytes] | None = None,
    force: bool = False,
) -> list[Path]:
    """Write the folder for publishing.

    Parameters
    ----------
    results : Results
        All rows; nothing is published that is not in them.
    folder : path
        Where to; made if need be. The folder above it must exist.
    sounds : mapping of str to bytes, optional
        The excerpts' FLAC files by the ids of their media rows.
    force : bool
        Replace files that are not our own.

    Returns
    -------
    list of pathlib.Path
        What was written, the index last.

    Raises
    ------
    UnusableCall, WouldOverwrite
        See `Publication.refuse`: nothing is written then.
    """
    return publication_of(results, sounds=sounds).write(folder, force=force)


def publication_of(results: Results, *, sounds: Mapping[str, bytes] | None = None) -> Publication:
    """Return all files of the folder for publishing, made but not written."""
    from humcheck.report.publish.pictures import pictures_of

    catalogue, names = Catalogue(results), FileNames()
    for name in _FIXED:
        names.take(name)
    summary = summary_of(catalogue)
    subjects = dict.fromkeys([*catalogue.devices, *catalogue.singles, *units_of(catalogue)])
    words = words_of_subjects({subject: catalogue.title(subject) for subject in subjects})
    pictures, stand_ins = pictures_of(catalogue, names, words)
    items = [
        *(Item(picture.name, picture.words, picture.content) for picture in pictures),
        Item("summary.md", "the findings for a post, as Markdown", as_markdown(summary)),
        Item("summary.txt", "the findings for a post, as plain text", as_text(summary)),
        *_sheets(catalogue, names, words),
        *_sounds(results, sounds or {}, names, words),
        Item("measures.csv", "every measured value", tables_csv.measures_csv(results)),
        Item("changes.csv", "every change, and whether it can be told apart", tables_csv.changes_csv(results)),
        Item("curves.csv", "every curve over frequency, point by point", tables_csv.curves_csv(results)),
        Item("lines.csv", "every steady tone that was sought", tables_csv.lines_csv(results)),
    ]
    return Publication((*items, Item(CONTENTS, "this index", _contents(results, items, stand_ins))))


def refuse_place(folder: str | os.PathLike[str], *, force: bool = False) -> None:
    """Raise before any work is done if the folder cannot be used.

    Raises
    ------
    UnusableCall
        If its name is taken by a file, or the folder above it does not exist.
    WouldOverwrite
        If one of the files that are always written exists and is not our own.
    """
    home = Path(folder)
    for path in (home, *(home / name for name in _FOLDERS)):
        if (path.exists() or path.is_symlink()) and not path.is_dir():
            raise UnusableCall("is in the way: a folder is to be made there", where=path, remedy="choose another name")
    for name in (*_FOLDERS, *_FIXED):
        refuse_link(home / name)
    if not home.is_dir():
        if not home.parent.is_dir():
            raise UnusableCall("its folder does not exist", where=folder, remedy="make the folder first")
        return
    for name in _FIXED:
        refuse_to_overwrite(home / name, force=force)


def _sheets(catalogue: Catalogue, names: FileNames, words: Mapping[str, str]) -> list[Item]:
    return [
        Item(
            names.new(words[subject], ending="html", folder="sheets"),
            f"{catalogue.title(subject)}: limits on one page, to print",
            sheet_page(catalogue, subject),
        )
        for subject in units_of(catalogue)
    ]


def _sounds(results: Results, sounds: Mapping[str, bytes], names: FileNames, words: Mapping[str, str]) -> list[Item]:
    """Return the excerpts, each named by the device and by what its caption says first."""
    items = []
    for number, row in enumerate((row for row in results.media if row.kind), start=1):
        content = sounds.get(row.id, b"")
        if content.startswith(_FLAC) and MARK.encode("ascii") in content[:65536]:
            said = row.caption.partition(", raised")[0]
            name = names.new(f"{number:02d}", words.get(row.group, row.group), said, ending="flac", folder="sounds")
            items.append(Item(name, sentence(row.caption), content))
    return items


def _contents(results: Results, items: Sequence[Item], stand_ins: Mapping[str, str]) -> str:
    """Return the index: a line for each file, its name first."""
    wide = max(len(item.name) for item in items) + 2
    lines = [f"{visible(results.bench.name)}: for publishing, {MARK} {__version__}", ""]
    lines += [f"{item.name:<{wide}}{visible(item.words)}" for item in items]
    lines += ["", *(f"In the pictures, {shown} stands for {name}." for shown, name in stand_ins.items())]
    lines += ["Pictures are 1920 x 1080, the card is 1080 x 1080. Tables are CSV in UTF-8; text in them that"]
    lines += ["begins like a formula has an apostrophe before it. This index is kept so that a later run can tidy up."]
    return "\n".join(lines) + "\n"


def _listed(index: Path) -> set[str]:
    """Return the names that an earlier index lists, as far as they can be ours."""
    try:
        if index.is_symlink() or not own_output(index):
            return set()
        lines = index.read_text("utf-8", "replace").splitlines()
    except OSError:
        return set()
    return {name for line in lines if _OWN_NAME.fullmatch(name := line.partition(" ")[0])}


def _take_away(path: Path) -> None:
    """Remove a file of an earlier run: it would pass for this run's."""
    if path.is_file() and not path.is_symlink() and not path.parent.is_symlink() and own_output(path):
        path.unlink()


def _make(folder: Path) -> None:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise UnusableCall(
            f"cannot be made ({error.strerror})", where=folder, remedy="check the folder's rights and the free space"
        ) from error
