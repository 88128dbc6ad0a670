"""The evidence folder beside a results file: written whole, never over files of other making, read with distrust."""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Sequence
from pathlib import Path, PurePosixPath

from humcheck.audio.writing import own_output, refuse_link, refuse_to_overwrite, write_whole
from humcheck.errors import UnusableCall
from humcheck.evidence.sounds import Excerpts
from humcheck.results import Media

#: Our own files, and no others, are taken away when they are not written again.
_OWN_NAME = re.compile(r"\d\d-[a-z_]+-[a-z_]+\.flac")
#: Far above any excerpt: what is larger is not ours, and would only fill the page.
_LARGEST_BYTES = 8 << 20
_FLAC = b"fLaC"


def folder_name(results_path: str | os.PathLike[str]) -> str:
    """Return the name of the folder that belongs to a results file (or to a page without one)."""
    return f"{Path(results_path).stem}-evidence"


def file_names(excerpts: Excerpts) -> list[str]:
    """Return a name for each excerpt, such as ``02-through-hum.flac``."""
    return [f"{number:02d}-{sound.role}-{sound.kind}.flac" for number, sound in enumerate(excerpts.sounds, start=1)]


def refuse_folder(results_path: str | os.PathLike[str], *, force: bool = False) -> None:
    """Raise before any work is done if the folder beside a results file cannot be used.

    Raises
    ------
    UnusableCall
        If its name is taken by a file.
    WouldOverwrite
        If it holds a file of an excerpt's name that is not our own.
    """
    folder = Path(results_path).parent / folder_name(results_path)
    if not folder.exists() and not folder.is_symlink():
        return
    if not folder.is_dir():
        raise UnusableCall(
            "is in the way: the excerpts of these results go into a folder of that name",
            where=folder,
            remedy="move it, or choose another name with --json",
        )
    for path in sorted(folder.iterdir()):
        if _OWN_NAME.fullmatch(path.name):
            refuse_link(path)
            refuse_to_overwrite(path, force=force)


def write_folder(excerpts: Excerpts, results_path: str | os.PathLike[str], *, force: bool = False) -> Path | None:
    """Write all excerpts into the folder beside a results file.

    Parameters
    ----------
    excerpts : Excerpts
        What to write.
    results_path : path
        The results file.
    force : bool
        Replace files that are not our own.

    Returns
    -------
    pathlib.Path or None
        The folder; None where there is nothing to write.

    Raises
    ------
    WouldOverwrite, UnusableCall
        See `refuse_folder`; also when the disk refuses.
    """
    refuse_folder(results_path, force=force)
    folder = Path(results_path).parent / folder_name(results_path)
    names = file_names(excerpts)
    if names:
        try:
            folder.mkdir(exist_ok=True)
        except OSError as error:
            raise UnusableCall(
                f"the folder {folder.name} beside it cannot be made ({error.strerror})",
                where=results_path,
                remedy="check the folder's rights and the free space",
            ) from error
    for name, sound in zip(names, excerpts.sounds, strict=True):
        write_whole(folder / name, sound.content, force=force)
    _take_away_older(folder, names)
    return folder if names else None


def _take_away_older(folder: Path, names: Sequence[str]) -> None:
    """Remove excerpts of an earlier run that were not written again: they would pass for this run's."""
    if not folder.is_dir():
        return
    for path in folder.iterdir():
        is_ours = _OWN_NAME.fullmatch(path.name) and path.name not in names and not path.is_symlink()
        if is_ours and path.is_file() and own_output(path):
            path.unlink()


def read_folder(media: Sequence[Media], results_path: str | os.PathLike[str]) -> dict[str, bytes]:
    """Return the excerpts of saved results that are there and unchanged, by id.

    Parameters
    ----------
    media : sequence of Media
        From the results file. It may come from anybody: only small FLAC files below its own folder are read, and of
        those only what has the fingerprint that it names.
    results_path : path
        The results file.
    """
    home = Path(results_path).resolve().parent
    found = {}
    for item in media:
        content = _content(home, item)
        if content is not None:
            found[item.id] = content
    return found


def _content(home: Path, item: Media) -> bytes | None:
    parts = PurePosixPath(item.file).parts
    if not parts or "\\" in item.file or ":" in item.file or "\0" in item.file or ".." in parts or parts[0] == "/":
        return None
    try:
        path = home.joinpath(*parts).resolve()
        if not path.is_relative_to(home):
            return None
        status = path.stat()
        if not stat.S_ISREG(status.st_mode) or status.st_size > _LARGEST_BYTES:
            return None
        content = path.read_bytes()
    except (OSError, ValueError):
        return None
    matches = content.startswith(_FLAC) and hashlib.sha256(content).hexdigest() == item.sha256
    return content if matches else None
