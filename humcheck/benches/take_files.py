"""The files that a bench file names: globs in natural order, and everything that is missing told at once."""

from __future__ import annotations

import glob
import os
import re
import stat
from dataclasses import dataclass, field

from humcheck.benches.toml_text import KeyPath, TomlText
from humcheck.errors import UnusableCall

#: So many missing files are named; of more, only how many.
_MOST_NAMED = 8
#: So many parts of a name may be patterns: each further one searches all folders of the one before.
_MOST_FOLDERS = 4


@dataclass(kw_only=True)
class TakeFiles:
    """Finds the files of one bench file and keeps what is wrong with them until all have been sought.

    Attributes
    ----------
    text : TomlText
        The bench file.
    """

    text: TomlText
    _problems: list[str] = field(default_factory=list)
    _places: dict[tuple[int, int], KeyPath] = field(default_factory=dict)

    def matching(self, pattern: str, place: KeyPath) -> tuple[str, ...]:
        """Return the absolute paths of the files that `pattern` stands for, in natural order.

        A name that exists as it is written stands for itself, even where it holds ``*``, ``?`` or ``[``. What cannot be
        used is noted for `refuse_problems` and left out.
        """
        folder = os.path.dirname(os.path.abspath(self.text.where))
        path = os.path.normpath(os.path.join(folder, pattern))
        if glob.has_magic(pattern) and not _exists(path):
            if sum(map(glob.has_magic, pattern.split("/"))) > _MOST_FOLDERS:
                self._note(place, f"more than {_MOST_FOLDERS} folders of {pattern[:40]} are patterns: name them")
                return ()
            whole = pattern if os.path.isabs(pattern) else os.path.join(glob.escape(folder), pattern)
            found = sorted((os.path.normpath(name) for name in _globbed(whole)), key=natural_order)
            paths = [name for name in found if not os.path.isdir(name)]
            if not paths:
                self._note(place, f"no file matches {pattern}")
        else:
            paths = [path]
        return tuple(path for path in paths if self._usable(path, place))

    def refuse_problems(self) -> None:
        """Raise `UnusableCall` with all that was noted, if anything was."""
        if not self._problems:
            return
        named = self._problems[:_MOST_NAMED]
        further = len(self._problems) - len(named)
        more = f"; and {further} more" if further else ""
        raise UnusableCall(
            "; ".join(named) + more,
            where=self.text.where,
            remedy="names count from the bench file's folder: record what is missing, or take it out of the file",
        )

    def _usable(self, path: str, place: KeyPath) -> bool:
        shown = self._shown(path)
        try:
            status = os.stat(path)
        except FileNotFoundError:
            return self._note(place, f"there is no file {shown}")
        except (OSError, ValueError) as error:
            reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
            return self._note(place, f"{shown} cannot be opened ({reason})")
        if not stat.S_ISREG(status.st_mode):
            what = "a folder" if stat.S_ISDIR(status.st_mode) else "no regular file"
            return self._note(place, f"{shown} is {what}, not a recording")
        if status.st_size == 0:
            return self._note(place, f"{shown} is empty")
        # The same file under another name or through a link is the same file.
        earlier = self._places.setdefault((status.st_dev, status.st_ino), place)
        if earlier is not place:
            return self._note(place, f"{shown} is named already in {self.text.place(earlier)}")
        return True

    def _shown(self, path: str) -> str:
        """Return a path as seen from the bench file's folder, where it lies inside it."""
        folder = os.path.dirname(os.path.abspath(self.text.where))
        return os.path.relpath(path, folder) if path.startswith(folder + os.sep) else path

    def _note(self, place: KeyPath, problem: str) -> bool:
        self._problems.append(f"{self.text.place(place)}: {problem}")
        return False


def natural_order(name: str) -> list[tuple[int, int, str]]:
    """Return a key that sorts ``take-10`` after ``take-2``."""
    parts = re.findall(r"[0-9]+|[^0-9]+", name)
    return [(0, int(part), part) if part[0] in "0123456789" else (1, 0, part.casefold()) for part in parts]


def _exists(path: str) -> bool:
    try:
        return os.path.lexists(path)
    except ValueError:  # a null character in the name
        return True


def _globbed(pattern: str) -> list[str]:
    try:
        return glob.glob(pattern)
    except (OSError, ValueError, re.error):
        return []
