"""Writing files whole or not at all, and never over a file that is not this tool's own.

Everything written carries `MARK`: text near its beginning or its end, audio in its comment tag. A file that carries
it may be replaced; any other existing file is refused unless the user forces it.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from pathlib import Path

import numpy as np

from humcheck.audio.levels import Floats
from humcheck.errors import UnusableCall, WouldOverwrite

#: Mark by which the tool knows its own output again.
MARK = "made by humcheck"

#: What unfinished files and folders are called until they are whole.
LEFTOVER_PREFIX = ".humcheck-"

_LEFTOVER_NAME = re.compile(re.escape(LEFTOVER_PREFIX) + r"[a-z0-9_]{8}(\.\w+)?")
_SEARCHED_BYTES = 65536
#: An unfinished file that nobody has written to for so long belongs to a process that was killed.
_LEFTOVER_AGE_S = 3600.0
_SUBTYPES = {16: "PCM_16", 24: "PCM_24", 32: "FLOAT"}


def own_output(path: str | os.PathLike[str], mark: str = MARK) -> bool:
    """Return whether an existing file carries the mark in its first or last 64 KiB."""
    wanted = mark.encode("utf-8")
    with open(path, "rb") as file:
        head = file.read(_SEARCHED_BYTES)
        if wanted in head:
            return True
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - _SEARCHED_BYTES))
        return wanted in file.read()


def refuse_to_overwrite(path: str | os.PathLike[str], *, force: bool = False, mark: str = MARK) -> None:
    """Raise if `path` cannot be written: a folder, a missing folder above it, or a file that is not our own.

    Raises
    ------
    WouldOverwrite
        If the file exists, does not carry the mark, and `force` is not given.
    UnusableCall
        If the path is a folder, no regular file, or its folder does not exist.
    """
    target = Path(path)
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        if not target.parent.is_dir():
            raise UnusableCall("its folder does not exist", where=path, remedy="make the folder first") from None
        return
    except (OSError, ValueError) as error:
        raise UnusableCall(f"cannot be written ({_reason(error)})", where=path, remedy="choose another name") from error
    if stat.S_ISDIR(mode):
        raise UnusableCall("is a folder, not a file", where=path, remedy="add a file name")
    if not stat.S_ISREG(mode):
        raise UnusableCall("is not a regular file", where=path, remedy="choose another name")
    if force:
        return
    try:
        own = own_output(target, mark)
    except OSError as error:
        raise UnusableCall(f"cannot be read ({_reason(error)})", where=path, remedy="choose another name") from error
    if not own:
        raise WouldOverwrite(
            "exists and was not written by humcheck", where=path, remedy="choose another name, or add --force"
        )


def refuse_link(path: str | os.PathLike[str]) -> None:
    """Raise if `path`, inside a folder of ours, is a link: what is written there would end up somewhere else.

    Raises
    ------
    UnusableCall
        If it is one. The folder itself may be: it is the user's choice.
    """
    if os.path.islink(path):
        raise UnusableCall("is a link, and leads somewhere else", where=path, remedy="remove the link")


def write_whole(path: str | os.PathLike[str], content: bytes | str, *, force: bool = False, mark: str = MARK) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    path : path
        Where to; its folder must exist.
    content : bytes or str
        Text is written as UTF-8. It should hold `mark`, or the file cannot be replaced later without `force`.
    force : bool
        Replace a file that is not our own.
    mark : str
        What our own files of this kind hold.

    Raises
    ------
    WouldOverwrite, UnusableCall
        See `refuse_to_overwrite`; also when the disk refuses.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    refuse_to_overwrite(path, force=force, mark=mark)

    def write(temporary: str) -> None:
        with open(temporary, "wb") as file:
            file.write(data)

    _replace_with(Path(path), write)


def write_audio(
    path: str | os.PathLike[str],
    samples: Floats | Iterable[Floats],
    rate_hz: int,
    bits: int = 24,
    *,
    force: bool = False,
    comment: str = "",
) -> None:
    """Write samples as a WAV (or, by the name's ending, FLAC or AIFF) file that carries the mark.

    Parameters
    ----------
    path : path
        Ends in .wav, .flac, .aiff or .aif.
    samples : numpy.ndarray, shape (n_samples, n_channels), or iterable of such blocks
        Full scale = 1.0. Rounded to the nearest step, clipped where they do not fit; dither is the caller's. Blocks
        are written one by one, so that nobody has to hold a long file.
    rate_hz : int
        Sampling rate.
    bits : int
        16 or 24, or 32 for float.
    force : bool
        Replace a file that is not our own.
    comment : str
        Further text for the comment tag.
    """
    target = Path(path)
    blocks = iter([samples] if isinstance(samples, np.ndarray) else samples)
    if bits not in _SUBTYPES:
        raise ValueError(f"bits must be 16, 24 or 32, got {bits}")
    formats = {".wav": "WAV", ".flac": "FLAC", ".aiff": "AIFF", ".aif": "AIFF"}
    file_format = formats.get(target.suffix.lower())
    if file_format is None:
        raise UnusableCall("is no kind of audio file that can be written", where=path, remedy="end the name in .wav")
    refuse_to_overwrite(path, force=force)
    text = f"{MARK}. {comment}".strip()
    _replace_with(target, lambda temporary: _write_tagged(temporary, blocks, rate_hz, bits, file_format, text))


def write_by(path: str | os.PathLike[str], write: Callable[[str], None], *, force: bool = False) -> None:
    """Have a file written whole or not at all by something that wants a name.

    Parameters
    ----------
    path : path
        Where to; its folder must exist.
    write : callable
        Writes the file of the name that it is given, which has the ending of `path`; what it writes should hold `MARK`.
    force : bool
        Replace a file that is not our own.
    """
    refuse_to_overwrite(path, force=force)
    _replace_with(Path(path), write)


def _write_tagged(
    temporary: str, blocks: Iterator[Floats], rate_hz: int, bits: int, file_format: str, text: str
) -> None:
    import soundfile

    from humcheck.audio.decoding import library_path

    first = _checked(next(blocks, np.empty(0)))
    try:
        with soundfile.SoundFile(
            library_path(temporary),
            "w",
            samplerate=rate_hz,
            channels=first.shape[1],
            subtype=_SUBTYPES[bits],
            format=file_format,
        ) as file:
            file.comment = text
            file.write(_stored(first, bits))
            for block in blocks:
                file.write(_stored(_checked(block), bits))
    except soundfile.LibsndfileError as error:  # a full disk, for one
        raise OSError(str(error)) from error


def _checked(block: Floats) -> Floats:
    if block.ndim != 2:
        raise ValueError(f"samples must have shape (n_samples, n_channels), got {block.shape}")
    return block


def _stored(samples: Floats, bits: int) -> np.ndarray[tuple[int, ...], np.dtype[np.generic]]:
    """Round here, not by libsndfile, which scales floats by ``2**(bits-1) - 1``: a full scale of its own."""
    if bits == 32:
        return samples.astype(np.float32)
    full = 2.0 ** (bits - 1)
    steps = np.clip(np.rint(samples * full), -full, full - 1.0).astype(np.int32)
    return steps << (32 - bits)


def _replace_with(target: Path, write: Callable[[str], None]) -> None:
    """Write to a temporary file beside the target, then put it in the target's place in one step."""
    # A link keeps pointing where it did: what it points to is replaced.
    target = target.resolve()
    temporary = ""
    try:
        mode = stat.S_IMODE(target.stat().st_mode) if target.exists() else None
        take_away_leftovers(target.parent)
        descriptor, temporary = tempfile.mkstemp(prefix=LEFTOVER_PREFIX, suffix=target.suffix, dir=target.parent)
        os.close(descriptor)
        write(temporary)
        _to_disk(temporary)
        os.chmod(temporary, _default_mode() if mode is None else mode)
        os.replace(temporary, target)
    except OSError as error:
        raise UnusableCall(
            f"cannot be written ({_reason(error)})", where=target, remedy="check the folder's rights and the free space"
        ) from error
    finally:
        if temporary and os.path.exists(temporary):
            os.unlink(temporary)


@lru_cache(maxsize=256)
def take_away_leftovers(folder: Path) -> None:
    """Remove what a killed process left unfinished in a folder: files, and folders of such; looked for once a run."""
    with contextlib.suppress(OSError):
        for path in folder.glob(f"{LEFTOVER_PREFIX}*"):
            with contextlib.suppress(OSError):
                _take_away(path)


def _take_away(path: Path) -> None:
    status = path.lstat()
    if not _LEFTOVER_NAME.fullmatch(path.name) or time.time() - status.st_mtime < _LEFTOVER_AGE_S:
        return
    if stat.S_ISREG(status.st_mode):
        path.unlink()
    elif stat.S_ISDIR(status.st_mode):
        for inside in path.iterdir():
            if _LEFTOVER_NAME.fullmatch(inside.name) or own_output(inside):
                inside.unlink()
        path.rmdir()


def _to_disk(path: str) -> None:
    with open(path, "rb+") as file:
        os.fsync(file.fileno())


def _default_mode() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
