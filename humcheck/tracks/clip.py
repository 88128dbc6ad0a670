"""The test clip: a video file in which the full track plays while test pictures stand. Needs the extra ``video``."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt

from humcheck.audio.writing import MARK, refuse_to_overwrite, write_by, write_whole
from humcheck.errors import UnusableCall
from humcheck.tracks.layouts import CLIP_LAYOUT, layout
from humcheck.tracks.pictures import brightness_of_lines
from humcheck.tracks.rendering import track_blocks
from humcheck.tracks.sections import Layout
from humcheck.tracks.timetable import timetable_text
from humcheck.video.encoder import FIELDS_50, FIELDS_59_94, FORMS, FieldFormat, encode, require_encoder

FIELDS = {"50": FIELDS_50, "59.94": FIELDS_59_94}
#: The rate of sound that goes with video.
RATE_HZ = 48000


def clip_layout(length: str = "standard") -> Layout:
    """Return the layout of the track in a clip, with the pictures that stand meanwhile."""
    return layout("full", length, CLIP_LAYOUT)


def write_clip(
    path: Path, *, fields: str = "50", length: str = "standard", force: bool = False
) -> tuple[Path, Path, Layout]:
    """Write the clip and its timetable.

    Parameters
    ----------
    path : Path
        Ends in .mkv, .mov, .avi, .mpg or .vob; the timetable gets the same name with .json.
    fields : str
        Fields a second: ``"50"`` or ``"59.94"``.
    length : str
        ``"short"``, ``"standard"`` or ``"long"``.
    force : bool
        Replace files that are not this tool's own.

    Returns
    -------
    path, timetable_path : Path
        What was written.
    track : Layout
        What plays in it.

    Raises
    ------
    UnusableCall
        If the ending is another one, the extra is not installed, or the disk refuses.
    WouldOverwrite
        If a file of such a name is there and is not this tool's own.
    """
    form = FORMS.get(path.suffix.lower())
    if form is None:
        raise UnusableCall(
            "is no kind of video file that can be written",
            where=path,
            remedy="end the name in .mkv, .mov or .avi for players of files, in .mpg for a video disc",
        )
    require_encoder(path)
    timetable_path = path.with_suffix(".json")
    for target in (path, timetable_path):
        refuse_to_overwrite(target, force=force)
    track = clip_layout(length)
    standard = FIELDS[fields]
    comment = f"{MARK}. Test clip, {fields} fields, track {track.identity.name}, {length}. Start at low volume."

    def write(temporary: str) -> None:
        sound = track_blocks(track, RATE_HZ, form.bits)
        encode(temporary, form, standard, pictures(track, standard), sound, RATE_HZ, comment)

    write_by(path, write, force=force)
    write_whole(timetable_path, timetable_text(track, path.name, RATE_HZ, form.bits), force=force)
    return path, timetable_path, track


def pictures(track: Layout, fields: FieldFormat) -> Iterator[npt.NDArray[np.uint8]]:
    """Yield the brightness of each line, frame by frame: each frame is what stands at its middle."""
    lines = {shown.name: brightness_of_lines(shown.name, fields.n_lines) for shown in track.pictures}
    ends_s = [shown.end_s for shown in track.pictures]
    place = 0
    n_frames = int(Fraction(track.duration_s) * fields.frame_rate)
    for index in range(n_frames):
        middle_s = (index + Fraction(1, 2)) / fields.frame_rate
        while place + 1 < len(ends_s) and middle_s >= ends_s[place]:
            place += 1
        yield lines[track.pictures[place].name]
