"""What ``humcheck record`` says: the cautions before, what was recorded, and whether to keep it."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from humcheck.cli.record_screen import SILENT_DBFS
from humcheck.errors import EXIT_DONE, EXIT_UNUSABLE, HumcheckError, printable

if TYPE_CHECKING:
    from humcheck.cli.record_course import RecordedTake
    from humcheck.pipeline.settings import MeasuringSettings
    from humcheck.results import Results
    from humcheck.soundcard import Device, Recorded
    from humcheck.soundcard.streams import InputStream, TrackPlayer

_CAUTIONS = """\
Start low: source, recorder and sound card turned down. Take headphones off and keep loudspeakers off while the track
plays: it holds loud tones and sweeps to 20 kHz. You do not need to hear it."""

_CAUTION_ALONE = "If something plays meanwhile, start low, with headphones off and loudspeakers off."


def device_table(devices: Sequence[Device]) -> str:
    """Return the devices as plain lines; the names stand last, where their length does no harm."""
    if not devices:
        return "No sound device was found. Connect the sound card, and see that the sound system runs."
    rows = [("number", "records", "plays", "rates in Hz", "system", "name")]
    for device in devices:
        rates = " ".join(str(rate_hz) for rate_hz in device.rates_hz) or "in use, or none of the usual"
        marks = [
            *(["records by default"] if device.default_input else []),
            *(["plays by default"] if device.default_output else []),
        ]
        name = device.name + (f" ({', '.join(marks)})" if marks else "")
        counts = (_channels(device.n_inputs), _channels(device.n_outputs))
        rows.append((str(device.number), *counts, rates, device.system, name))
    lines = [[printable(cell) for cell in row] for row in rows]
    widths = [max(len(line[column]) for line in lines) for column in range(len(rows[0]) - 1)]
    return "\n".join("  ".join([*(c.ljust(w) for c, w in zip(line, widths, strict=False)), line[-1]]) for line in lines)


def _channels(count: int) -> str:
    return str(count) if count else "-"


def before(source: InputStream, player: TrackPlayer | None, *, until_stopped: bool) -> str:
    """Return what is said before the recording begins."""
    what = f"Recording {_form(source)}"
    if player is not None:
        return f"{_CAUTIONS}\n{what} while the track plays, {player.duration_s:.0f} s."
    return f"{_CAUTION_ALONE}\n{what}{'; Ctrl-C ends it' if until_stopped else ''}."


def _form(source: InputStream | RecordedTake) -> str:
    channels = "1 channel" if source.n_channels == 1 else f"{source.n_channels} channels"
    return f"{channels}, {source.rate_hz} Hz, 24 bits"


def after(path: str, take: RecordedTake) -> str:
    """Return what was recorded, how it ended, and what to do about the level."""
    length_s = take.recorded.n_samples / take.rate_hz
    ending = take.recorded.ending
    if ending.kind == "done":
        lines = [f"{printable(path)}: {length_s:.1f} s recorded, {_form(take)}."]
    elif ending.kind == "stopped":
        lines = [f"{printable(path)}: stopped; the {length_s:.1f} s recorded until then are kept."]
    else:
        lines = [f"{printable(path)}: {ending.reason}; the {length_s:.1f} s recorded until then are kept."]
    names = ("left", "right") if take.n_channels == 2 else ("the channel",)
    peaks = [f"{name} {_dbfs(float(peak))}" for name, peak in zip(names, take.meter.highest_dbfs, strict=True)]
    lines.append(f"Highest peak: {', '.join(peaks)}.")
    words = take.meter.verdict()
    return "\n".join(lines if words is None else [*lines, words])


def _dbfs(level_dbfs: float) -> str:
    return "digital silence" if level_dbfs < SILENT_DBFS else f"{level_dbfs:.1f} dBFS"


def judge(path: str, take: RecordedTake, settings: MeasuringSettings, *, played: str | None) -> int:
    """Inspect the take, print what is in it and whether to keep it, and return the exit status."""
    from humcheck.audio.writing import own_output
    from humcheck.pipeline.compare import TakeRequest, inspect_files
    from humcheck.report.terminal import print_results

    results = None
    try:
        results = inspect_files([TakeRequest(path=path, role="single")], settings).results
    except HumcheckError as error:
        print(f"humcheck: {error.sentence()}", file=sys.stderr)
    else:
        print_results(results, sys.stdout, has_report=False)
    silent = float(take.meter.highest_dbfs.max()) < SILENT_DBFS
    track_expected = played is not None and own_output(played)
    reasons = [
        *reasons_of_course(take.recorded, played=played is not None),
        *reasons_within(results, silent=silent, track_expected=track_expected),
    ]
    sentence = f"Do not use this take: {'; '.join(reasons)}. Put that right and record again."
    print(f"\n{textwrap.fill(sentence if reasons else 'Keep this take: it can be used.', 80)}")
    return EXIT_UNUSABLE if reasons else EXIT_DONE


def reasons_of_course(recorded: Recorded, *, played: bool) -> list[str]:
    """Return why a take cannot be used by the way that the recording went, as clauses.

    Parameters
    ----------
    recorded : Recorded
        How it went.
    played : bool
        Whether something was played meanwhile.
    """
    reasons = []
    if recorded.n_lost:
        reasons.append(
            f"sound was lost {_times(recorded.n_lost)} on its way from the sound card (close other programs, and let "
            "the machine neither sleep nor save power)"
        )
    if recorded.n_gaps:
        reasons.append(f"the playing fell silent {_times(recorded.n_gaps)} for want of data (close other programs)")
    if recorded.ending.reason:
        reasons.append(f"it ended early, as {recorded.ending.reason}")
    elif recorded.ending.kind == "stopped" and played:
        reasons.append("it was stopped before the track had ended")
    return reasons


def reasons_within(results: Results | None, *, silent: bool, track_expected: bool) -> list[str]:
    """Return why a take cannot be used by what is in it, as clauses.

    Parameters
    ----------
    results : Results or None
        What inspecting it gave, None if it could not be read.
    silent : bool
        Whether all of it is digital silence.
    track_expected : bool
        Whether one of the test tracks was played meanwhile.
    """
    if silent:
        return ["it is digital silence: nothing reached the input (look at the chosen device and its mute)"]
    if results is None or not results.measures:
        return ["nothing in it could be measured"]
    take = results.takes[0]
    reasons = []
    if any(fault.spoils or fault.code == "no-sound" for fault in take.faults):
        reasons.append("it has the faults named above")
    if track_expected and take.track is None:
        reasons.append("the track was not recognised in it (see that its sound reaches the input, and the level)")
    return reasons


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
