"""Writing the tracks, their timetables and the note into a folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from humcheck.audio.writing import refuse_to_overwrite, write_audio, write_whole
from humcheck.errors import UnusableCall
from humcheck.tracks.layouts import Layout, layout
from humcheck.tracks.markers import NAMES
from humcheck.tracks.note import NOTE_NAME, note_text
from humcheck.tracks.rendering import track_blocks
from humcheck.tracks.timetable import timetable_text


def write_tracks(
    folder: Path,
    *,
    rate_hz: int = 48000,
    bits: int = 24,
    length: str = "standard",
    force: bool = False,
    on_file: Callable[[Path], None] | None = None,
) -> tuple[Path, ...]:
    """Write ``full.wav``, ``sweep.wav``, ``silence.wav``, a timetable beside each, and the note.

    Nothing is written before it is sure that no foreign file would be replaced.

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    rate_hz, bits : int
        See `humcheck.tracks.rendering`.
    length : str
        ``"short"``, ``"standard"`` or ``"long"``.
    force : bool
        Replace files that are not this tool's own.
    on_file : callable, optional
        Told of each file before it is written.

    Returns
    -------
    tuple of Path
        What was written: tracks and timetables by turns, the note last.

    Raises
    ------
    WouldOverwrite
        If a file of such a name is there and is not this tool's own.
    UnusableCall
        If the folder cannot be made, or there are no tracks of that kind.
    """
    folder = Path(folder)
    _make_folder(folder)
    audio_paths = [folder / f"{name}.wav" for name in NAMES]
    note_path = folder / NOTE_NAME
    for path in (*audio_paths, *(path.with_suffix(".json") for path in audio_paths), note_path):
        refuse_to_overwrite(path, force=force)
    written: list[Path] = []
    for name, path in zip(NAMES, audio_paths, strict=True):
        if on_file is not None:
            on_file(path)
        written += write_track(path, layout(name, length), rate_hz=rate_hz, bits=bits, force=force)
    write_whole(note_path, note_text(length, rate_hz, bits), force=force)
    return (*written, note_path)


def write_track(path: Path, track: Layout, *, rate_hz: int, bits: int, force: bool = False) -> tuple[Path, Path]:
    """Write one track and its timetable; return the paths of both.

    Parameters
    ----------
    path : Path
        The audio file, .wav or .flac; the timetable gets the same name with .json.
    track : Layout
        Which track.
    rate_hz, bits : int
        See `humcheck.tracks.rendering`.
    force : bool
        Replace files that are not this tool's own.
    """
    timetable_path = path.with_suffix(".json")
    identity = track.identity
    comment = f"Test track {identity.name}, {identity.length}, layout {identity.layout}. Start at low volume."
    write_audio(path, track_blocks(track, rate_hz, bits), rate_hz, bits, force=force, comment=comment)
    write_whole(timetable_path, timetable_text(track, path.name, rate_hz, bits), force=force)
    return path, timetable_path


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UnusableCall(
            f"the folder cannot be made ({error.strerror or error})", where=folder, remedy="choose another with --out"
        ) from error
