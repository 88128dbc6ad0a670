"""All excerpts of a report, as many as a page can carry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from humcheck.comparison.material import MeasuredTake, ProgrammeMatch
from humcheck.errors import HumcheckError
from humcheck.evidence.footage_moment import footage_sounds
from humcheck.evidence.matching import MOST_USES, MOST_USES_OF_SEVERAL, quiet_group
from humcheck.evidence.programme_group import programme_sounds
from humcheck.evidence.quiet_group import QuietTake, quiet_sounds
from humcheck.evidence.sounds import Excerpts, Sound

#: Bytes of all excerpts together: 2.1 MB in the page, where they take a third more.
BUDGET_BYTES = 1_600_000
#: Recordings inspected alone of which excerpts are made.
_MOST_SINGLES = 4
_BENCH = "The bench without a device"

_Group = Sequence[QuietTake] | ProgrammeMatch


def make_excerpts(
    takes: Sequence[MeasuredTake], programmes: Sequence[ProgrammeMatch] = (), *, budget_bytes: int = BUDGET_BYTES
) -> Excerpts:
    """Return the excerpts of a bench: for each device, direct and through at one level, and hum, buzz and hiss alone.

    Parameters
    ----------
    takes : sequence of MeasuredTake
        Their files must still be there; a take whose file is gone is left out.
    programmes : sequence of ProgrammeMatch
        Takes of the same arbitrary material, lined up.
    budget_bytes : int
        What all files together may take. First come direct and through of every device, as far as they fit, then the
        loudest parts of each; what is left out is said.
    """
    made: list[list[Sound]] = []
    notes: dict[str, str] = {}
    dropped: list[str] = []
    left_bytes = budget_bytes
    for name, group, note in _groups(takes, programmes):
        sounds = [] if dropped else _made(name, group)
        needed = sum(len(sound.content) for sound in _whole(sounds))
        if dropped or needed > left_bytes:
            dropped.append(name)
        elif sounds:
            left_bytes -= needed
            made.append(sounds)
            notes[name] = f"{notes.get(name, '')} {note}".strip()
    kept = _whole_and_loudest_parts(made, left_bytes, notes)
    if dropped and kept:
        _say(notes, kept[-1].group, f"Left out, to keep the page small: {', '.join(dict.fromkeys(dropped))}.")
    return Excerpts(sounds=tuple(kept), notes={name: note for name, note in notes.items() if note})


def takes_heard(takes: Sequence[MeasuredTake]) -> list[MeasuredTake]:
    """Return the takes of tracks that `make_excerpts` will open."""
    heard: dict[str, MeasuredTake] = {}
    for _, group, _ in _groups(takes, ()):
        if not isinstance(group, ProgrammeMatch):
            heard.update((one.take.row.id, one.take) for one in group)
    return list(heard.values())


def _groups(takes: Sequence[MeasuredTake], programmes: Sequence[ProgrammeMatch]) -> Iterator[tuple[str, _Group, str]]:
    """Yield name, takes and note of each group, in the order of the takes."""
    directs = [take for take in takes if take.role == "direct"]
    devices = dict.fromkeys(take.key.subject for take in takes if take.role == "through")
    for device in devices:
        of_device = [take for take in takes if take.role == "through" and take.key.subject == device]
        for match in [match for match in programmes if match.through.key.subject == device][:1]:
            yield device, match, ""
        gains_db = {match.through.row.id: match.gain_db for match in programmes}
        most_uses = MOST_USES if len(devices) == 1 else MOST_USES_OF_SEVERAL
        group, note = quiet_group(of_device, directs, gains_db, most_uses)
        yield device, group, note
    singles = [take for take in takes if take.role == "single" and take.quiet is not None]
    for take in singles[:_MOST_SINGLES]:
        note = _more_singles(len(singles) - _MOST_SINGLES) if take is singles[0] else ""
        yield take.row.file, [QuietTake(take=take, match_db=None)], note
    if not devices:
        heard = [QuietTake(take=take, match_db=None) for take in directs if take.quiet is not None]
        yield _BENCH, heard[:1], ""


def _more_singles(number: int) -> str:
    if number < 1:
        return ""
    return f"Of {number} more recording{'s' if number > 1 else ''} nothing is played, to keep the page small."


def _made(name: str, group: _Group) -> list[Sound]:
    try:
        if isinstance(group, ProgrammeMatch):
            return list(programme_sounds(name, group))
        singles = [one.take for one in group if one.take.role == "single"]
        return [*quiet_sounds(name, group), *(sound for take in singles for sound in footage_sounds(name, take))]
    except HumcheckError:  # the recording went away meanwhile: its numbers stand without an excerpt
        return []


def _whole(sounds: Sequence[Sound]) -> list[Sound]:
    return [sound for sound in sounds if sound.kind in ("quiet", "programme")]


def _whole_and_loudest_parts(groups: Sequence[Sequence[Sound]], left_bytes: int, notes: dict[str, str]) -> list[Sound]:
    """Return what is whole of each group, and of the parts, by turns from the loudest on, as many as fit."""
    turns: list[tuple[int, int, Sound]] = []
    for place, group in enumerate(groups):
        parts = [sound for sound in group if sound not in _whole(group)]
        # Few grown-ups hear a whistle at 15.7 kHz, however strong it is.
        parts.sort(key=lambda sound: (sound.kind == "whistle", -sound.level_dbfs))
        turns += [(turn, place, sound) for turn, sound in enumerate(parts)]
    left_out = set()
    for _, _, sound in sorted(turns, key=lambda item: item[:2]):
        if len(sound.content) > left_bytes:
            left_out.add(id(sound))
            _say(notes, sound.group, "Some of its parts are left out, to keep the page small.")
        else:
            left_bytes -= len(sound.content)
    return [sound for group in groups for sound in group if id(sound) not in left_out]


def _say(notes: dict[str, str], group: str, text: str) -> None:
    if text not in notes.get(group, ""):
        notes[group] = f"{notes.get(group, '')} {text}".strip()
