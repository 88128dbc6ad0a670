"""Writing the test pictures, and the note on how to show them."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

from humcheck.audio.writing import MARK, refuse_to_overwrite, write_whole
from humcheck.errors import UnusableCall
from humcheck.tracks.pictures import LINES, PICTURES, picture

FOLDER_NAME = "pictures"
PICTURES_NOTE_NAME = "how-to-show.txt"

_TITLE = f"How to show the test pictures ({MARK})"
_NOTE = f"""\
{_TITLE}
{"=" * len(_TITLE)}

What is on the screen is often heard in the sound: a bright picture buzzes, a black one does not. Show one of these
pictures on the source that feeds the box, let it stand still, and record the track meanwhile. Name the picture when
you measure the recording (--picture rows).

  black          the control: what is heard now does not come from the picture
  white          the whole screen white: what most often makes the sound buzz
  top-half       upper half white, lower half black
  colour-blocks  eight blocks of full colour
  rows           black and white rows in a known order. The tool finds this order in the sound even far below the
                 hiss, and says how strongly the picture leaks into each channel. The one to use if you use only one.

WHICH SIZE
  The number in the name is the number of lines that are seen. Take the one that your source shows line by line:
    240  old consoles and computers where the mains is 60 Hz       288  the same where it is 50 Hz
    480  disc players and others, interlaced, 60 fields            576  the same, 50 fields
  In the large ones every row is two lines high, so that it stands in both fields of an interlaced picture.

HOW TO SHOW THEM
  Any player that shows a still picture will do: a disc or media player, a computer, a flash card for an old console.
  Fill the screen, without a frame and without a menu on top. Switch off slide shows, zoom, sharpening, noise
  reduction and anything else that improves pictures. A picture that is scaled or cut a little is still found, but
  one shown line by line is found at lower levels.
  Let the picture stand before the recording starts, and do not touch anything until it has ended.

CAUTIONS
  Still, bright pictures can burn into old tubes, plasma and some other screens. Show them for minutes, not for hours;
  turn brightness and contrast down (that does not change the signal that is measured), or let another picture run
  for a while between recordings. The screen may also be covered or turned away: nobody has to look at it.
  Nothing in these pictures flashes or moves. Fine rows can still shimmer on interlaced screens, and striped patterns
  can be unpleasant or harmful to people with photosensitive epilepsy: do not look at the rows for long, and warn
  others who may see the screen.
"""


def write_pictures(
    folder: Path, *, force: bool = False, on_file: Callable[[Path], None] | None = None
) -> tuple[Path, ...]:
    """Write every test picture as ``NAME-LINES.png``, and the note, into ``pictures`` within a folder.

    Nothing is written before it is sure that no foreign file would be replaced.

    Parameters
    ----------
    folder : Path
        The tracks' folder, which exists; ``pictures`` in it is made.
    force : bool
        Replace files that are not this tool's own.
    on_file : callable, optional
        Told of each file before it is written.

    Returns
    -------
    tuple of Path
        What was written, the note last.

    Raises
    ------
    WouldOverwrite
        If a file of such a name is there and is not this tool's own.
    UnusableCall
        If the folder cannot be made or written.
    """
    target = Path(folder) / FOLDER_NAME
    try:
        target.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UnusableCall(
            f"the folder cannot be made ({error.strerror or error})", where=target, remedy="choose another with --out"
        ) from error
    paths = {target / f"{name}-{n_lines}.png": (name, n_lines) for name in PICTURES for n_lines in LINES}
    note = target / PICTURES_NOTE_NAME
    for path in (*paths, note):
        refuse_to_overwrite(path, force=force)
    for path, (name, n_lines) in paths.items():
        if on_file is not None:
            on_file(path)
        write_whole(path, picture_file(name, n_lines), force=force)
    write_whole(note, _NOTE, force=force)
    return (*paths, note)


def picture_file(name: str, n_lines: int) -> bytes:
    """Return a test picture as the bytes of a PNG file whose comment carries the tool's mark."""
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    about = PngInfo()
    about.add_text("Comment", f"{MARK}. Test picture {name}, {n_lines} lines.")
    buffer = io.BytesIO()
    Image.fromarray(picture(name, n_lines)).save(buffer, format="PNG", pnginfo=about)
    return buffer.getvalue()
