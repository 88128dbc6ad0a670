"""Measured takes kept beside the bench file: a second run measures only what is new.

A take is known by its recording's content, by what was asked of it and by the version of the numbers; what it is
called (device, port, condition, fix) is filled in anew each time.
"""

from __future__ import annotations

import hashlib
import json
import stat
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec

from humcheck.audio.writing import MARK, refuse_link, write_whole
from humcheck.comparison.material import MeasuredTake
from humcheck.errors import HumcheckError, storable
from humcheck.pipeline.requests import TakeRequest
from humcheck.pipeline.settings import MeasuringSettings
from humcheck.pipeline.take_codec import take_from_bytes, take_to_bytes
from humcheck.results.consistency import require_consistent_row
from humcheck.version import NUMBERS_VERSION, __version__

_HEAD = f"{MARK} {__version__}\n".encode()
_DIGEST_BYTES = 32
#: Far above any measured take.
_LARGEST_BYTES = 256 << 20


class KeptTakes:
    """A folder of measured takes.

    Parameters
    ----------
    folder : path
        Made when the first take is kept. A folder that cannot be written keeps nothing, and nothing is wrong with that.
    """

    def __init__(self, folder: str | Path) -> None:
        self._folder = Path(folder)

    def find(self, sha256: str, request: TakeRequest, take_id: str, settings: MeasuringSettings) -> MeasuredTake | None:
        """Return the take if it was measured before, under its present names; None otherwise."""
        place = self._place(sha256, request, settings)
        try:
            status = place.lstat()
            if not stat.S_ISREG(status.st_mode) or status.st_size > _LARGEST_BYTES:
                return None
            content = place.read_bytes()
        except OSError:
            return None
        body = content[len(_HEAD) + _DIGEST_BYTES :]
        if content[: -len(body) or None] != _HEAD + hashlib.sha256(body).digest():
            return None
        try:
            take = take_from_bytes(body)
            for row in (*take.measures, *take.curves, *take.traces, *take.lines):
                require_consistent_row(row, "a kept row")
            return named(take, request, take_id)
        except ValueError:  # as damaged takes are, too
            return None

    def keep(self, take: MeasuredTake, request: TakeRequest, settings: MeasuringSettings) -> None:
        """Keep a take that was just measured."""
        # Where the file lies is nobody's business, may be no text, and is filled in when the take is found again.
        body = take_to_bytes(take if take.quiet is None else replace(take, quiet=replace(take.quiet, path="")))
        content = _HEAD + hashlib.sha256(body).digest() + body
        try:
            self._folder.mkdir(exist_ok=True)
            refuse_link(self._place(take.row.sha256, request, settings))
            write_whole(self._place(take.row.sha256, request, settings), content)
        except (OSError, HumcheckError):
            return

    def _place(self, sha256: str, request: TakeRequest, settings: MeasuringSettings) -> Path:
        asked = [sha256, request.role, request.picture, request.run, settings.mains_hz, NUMBERS_VERSION, __version__]
        return self._folder / hashlib.sha256(json.dumps(asked).encode()).hexdigest()


def named(take: MeasuredTake, request: TakeRequest, take_id: str) -> MeasuredTake:
    """Return a take under the names that a request gives it: device, port, condition, fix, plugging, file and id.

    Parameters
    ----------
    take : MeasuredTake
        Measured under a request of the same role, picture and recording.
    request : TakeRequest
        How it is called now.
    take_id : str
        Id in the results.
    """
    names = request.names(take_id)

    def renamed(rows: tuple[Any, ...]) -> tuple[Any, ...]:
        own = {"takes": [take_id]}
        return tuple(
            msgspec.structs.replace(row, **names, **(own if hasattr(row, "takes") and row.takes else {}))
            for row in rows
        )

    row = msgspec.structs.replace(
        take.row,
        id=take_id,
        file=storable(Path(request.path).name),
        device=request.device,
        port=request.port,
        condition=request.condition,
        fix=request.fix,
        plugging=request.plugging,
    )
    return replace(
        take,
        row=row,
        key=msgspec.structs.replace(take.key, **names),
        measures=renamed(take.measures),
        curves=renamed(take.curves),
        traces=renamed(take.traces),
        lines=renamed(take.lines),
        not_measured=renamed(take.not_measured),
        quiet=None if take.quiet is None else replace(take.quiet, path=request.path),
    )
