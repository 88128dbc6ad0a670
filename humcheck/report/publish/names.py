"""File names from names that come from outside: they work on every system, lead nowhere else, and are unique."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

_LONGEST = 60
_NOTHING = "unnamed"
#: Names that mean devices on some systems, whatever their ending.
_RESERVED = re.compile(r"(con|prn|aux|nul|clock|com\d|lpt\d)")


class FileNames:
    """Makes file names; none is handed out twice, on systems that ignore case either."""

    def __init__(self) -> None:
        self._taken: set[str] = set()

    def take(self, name: str) -> None:
        """Keep a name for another use."""
        self._taken.add(name.lower())

    def new(self, *parts: str, ending: str, folder: str = "") -> str:
        """Return a name, relative to the folder that is written, such as ``response-alder.png``.

        Parameters
        ----------
        parts : str
            What the file is and whose; joined by hyphens.
        ending : str
            Without its point.
        folder : str
            Folder below the one that is written.
        """
        stem = "-".join(safe_word(part) for part in parts)
        stem = f"{stem}-file" if _RESERVED.fullmatch(stem) else stem
        home = f"{folder}/" if folder else ""
        name, count = f"{home}{stem}.{ending}", 1
        while name in self._taken:
            count += 1
            name = f"{home}{stem}-{count}.{ending}"
        self._taken.add(name)
        return name


def words_of_subjects(titles: Mapping[str, str]) -> dict[str, str]:
    """Return a word for each subject that no other has, for all its files; numbered where no letter can be kept.

    Parameters
    ----------
    titles : mapping of str to str
        Subjects to their names for people.
    """
    words: dict[str, str] = {}
    for number, (subject, title) in enumerate(titles.items(), start=1):
        word = safe_word(title)
        word = f"device-{number}" if word == _NOTHING else word
        words[subject] = f"{word}-{number}" if word in words.values() else word
    return words


def safe_word(text: str) -> str:
    """Return a text as lower-case ASCII letters and digits with single hyphens; ``unnamed`` where nothing is left."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii").lower()
    word = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")
    return word[:_LONGEST].rstrip("-") or _NOTHING
