"""Writing the folder of a new bench: bench file, run order, checklist, tracks and test pictures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from humcheck.audio.writing import write_whole
from humcheck.benches.checklist import TEXT as CHECKLIST
from humcheck.benches.papers import run_order_text
from humcheck.benches.run_order import TAKES_FOLDER, BenchPlan
from humcheck.benches.template import bench_text
from humcheck.errors import UnusableCall, WouldOverwrite

BENCH_NAME = "bench.toml"
RUN_ORDER_NAME = "run-order.txt"
CHECKLIST_NAME = "checklist.txt"
TRACKS_FOLDER = "test_signals"


def write_new_bench(
    folder: Path,
    plan: BenchPlan,
    *,
    tracks: bool = True,
    force: bool = False,
    on_file: Callable[[Path], None] | None = None,
) -> tuple[Path, ...]:
    """Write everything that a bench starts from.

    Nothing is written before it is sure that no file would be replaced: a bench file is there to be changed by hand,
    so that even one that this tool wrote stays.

    Parameters
    ----------
    folder : Path
        Made if it does not exist; may hold other files.
    plan : BenchPlan
        What is to be compared.
    tracks : bool
        Whether to write the test tracks and pictures, too.
    force : bool
        Replace files of the same names.
    on_file : callable, optional
        Told of each file before it is written.

    Returns
    -------
    tuple of Path
        Bench file, run order and checklist, then what belongs to the tracks.

    Raises
    ------
    WouldOverwrite
        If a file of such a name is there.
    UnusableCall
        If the folder cannot be made or written.
    """
    folder = Path(folder)
    name = "".join(letter for letter in folder.resolve().name if letter.isprintable())[:80].strip() or "bench"
    texts = {
        folder / BENCH_NAME: bench_text(plan, name),
        folder / RUN_ORDER_NAME: run_order_text(plan),
        folder / CHECKLIST_NAME: CHECKLIST,
    }
    if not force:
        _refuse_existing([*texts, *(_track_files(folder / TRACKS_FOLDER) if tracks else [])])
    _make_folder(folder)
    _make_folder(folder / TAKES_FOLDER)
    for path, text in texts.items():
        if on_file is not None:
            on_file(path)
        write_whole(path, text, force=force)
    if not tracks:
        return tuple(texts)
    from humcheck.tracks.pictures_writing import write_pictures
    from humcheck.tracks.writing import write_tracks

    written = write_tracks(folder / TRACKS_FOLDER, length=plan.length, force=force, on_file=on_file)
    return (*texts, *written, *write_pictures(folder / TRACKS_FOLDER, force=force, on_file=on_file))


def _track_files(folder: Path) -> list[Path]:
    from humcheck.tracks.markers import NAMES
    from humcheck.tracks.note import NOTE_NAME
    from humcheck.tracks.pictures_writing import FOLDER_NAME

    return [
        *(folder / f"{name}{ending}" for name in NAMES for ending in (".wav", ".json")),
        folder / NOTE_NAME,
        folder / FOLDER_NAME,
    ]


def _refuse_existing(paths: list[Path]) -> None:
    there = [path for path in paths if path.exists() or path.is_symlink()]
    if there:
        more = f" (and {len(there) - 1} more of the new files)" if len(there) > 1 else ""
        raise WouldOverwrite(
            f"exists already{more}",
            where=there[0],
            remedy="choose another folder, or add --force to replace what is there",
        )


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise UnusableCall(f"the folder cannot be made ({reason})", where=folder, remedy="choose another") from error
