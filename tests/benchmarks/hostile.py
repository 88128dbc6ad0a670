"""Hostile and broken input: what each command answers, how long that takes, and how much memory."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import soundfile

from humcheck.tracks.layouts import layout
from humcheck.tracks.rendering import render_track
from tests.benchmarks.table import Row
from tests.hostile.cases import OUTPUTS, Case, all_cases
from tests.hostile.running import answer_to, files_in

#: On a busy machine of two cores; what hangs takes for ever.
LONGEST_S = 60.0
#: Beyond what the same command holds for a usable take of the same kind.
MOST_MB = 1000.0
RATE_HZ = 48000


def run(quick: bool) -> list[Row]:
    """Return a row for each input and command; the answer is the note."""
    with tempfile.TemporaryDirectory() as name:
        direct = Path(name) / "direct.wav"
        _write_direct(direct)
        return [_row(case, direct) for case in all_cases(long=not quick)]


def _write_direct(path: Path) -> None:
    track = render_track(layout("silence", "short"), RATE_HZ, 24)
    noise = np.random.default_rng(1).normal(0, 3e-5, track.shape)
    soundfile.write(path, 0.7 * track + noise, RATE_HZ, subtype="PCM_24")


def _row(case: Case, direct: Path) -> Row:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "direct.wav").symlink_to(direct)
        case.make(folder / "input")
        before = set(files_in(folder))
        answer = answer_to(case.call, folder, longest_s=LONGEST_S)
        new = {path.split("/")[0] for path in set(files_in(folder)) - before}
    right = answer.is_refusal and not new if case.refused else answer.is_clean and new <= set(OUTPUTS)
    said = (answer.error or answer.output).strip().splitlines()
    return Row(
        figure=f"{case.kind}: {case.name}",
        condition=f"humcheck {' '.join(case.call)}"[:60],
        reached=answer.seconds,
        target=LONGEST_S,
        unit="s",
        n=1,
        passed=right and answer.seconds < LONGEST_S and answer.largest_mb < MOST_MB,
        note=f"{answer.largest_mb:.0f} MB; status {answer.status}: {said[-1][:150] if said else ''}".replace("|", "/"),
    )
