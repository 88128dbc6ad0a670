"""Which hostile input each command is given, and what it must answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.hostile import recordings, texts

#: Where the pages and other outputs of a case may appear, and nowhere else.
OUTPUTS = ("page.html", "results.json", "figures", "results-evidence", "input.measured")
_PAGE = ("--out", "page.html")
_BOTH = (*_PAGE, "--json", "results.json")


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One input under the name ``input``, beside a usable ``direct.wav``, and the call that is given it.

    Attributes
    ----------
    kind, name : str
        What the input stands for, and what is wrong with it.
    make : callable
        Writes it.
    call : tuple of str
        Command and arguments.
    refused : bool
        Whether the only right answer is one sentence and status 2, and nothing written.
    """

    kind: str
    name: str
    make: Callable[[Path], object]
    call: tuple[str, ...]
    refused: bool


def all_cases(*, long: bool = False) -> Iterator[Case]:
    """Yield every case; with `long` also those that take seconds."""
    for name, make in recordings.UNUSABLE.items():
        for call in (("inspect", "input", *_BOTH), ("calibrate", "input", "--volts", "1")):
            yield Case(kind="recording", name=name, make=make, call=call, refused=True)
        yield Case(kind="track to play", name=name, make=make, call=_record(), refused=True)
        if long:
            for call in (_direct(), _through()):
                refused = "--through" in call and call[2] == "input"
                yield Case(kind="recording", name=name, make=make, call=call, refused=refused)
    doubtful = {**recordings.DOUBTFUL, **(recordings.LONG if long else {})}
    for name, make in doubtful.items():
        calls = (("inspect", "input", *_BOTH), ("calibrate", "input", "--volts", "1"), _direct(), _through())
        for call in calls if long else calls[:2]:
            yield Case(kind="recording", name=name, make=make, call=call, refused=False)
    for name, make in texts.NOT_RESULTS.items():
        yield Case(kind="results", name=name, make=make, call=("report", "input", *_PAGE), refused=True)
    for name, make in texts.ODD_RESULTS.items():
        call = ("report", "input", *_PAGE, *(("--figures", "figures") if long else ()))
        yield Case(kind="results", name=name, make=make, call=call, refused=False)
    for name, make in texts.NOT_A_BENCH.items():
        yield Case(kind="bench file", name=name, make=make, call=("bench", "input", *_PAGE), refused=True)
    for name, make in texts.DOUBTFUL_BENCH.items() if long else ():
        yield Case(kind="bench file", name=name, make=make, call=("bench", "input", *_BOTH), refused=False)
    for name, make in texts.IN_THE_WAY.items():
        for call in _WRITING:
            yield Case(kind="place for outputs", name=name, make=make, call=call, refused=True)


def _direct() -> tuple[str, ...]:
    return ("compare", "--direct", "input", "--through", "direct.wav", *_BOTH)


def _through() -> tuple[str, ...]:
    return ("compare", "--direct", "direct.wav", "--through", "input", *_BOTH)


def _record() -> tuple[str, ...]:
    return ("record", "take.wav", "--play", "input")


#: Each command that writes, told to write where something lies already.
_WRITING = (
    ("tracks", "--length", "short", "--out", "input"),
    ("new", "input/bench", "--no-tracks"),
    ("inspect", "direct.wav", "--json", "input"),
    ("compare", "--direct", "direct.wav", "--out", "input"),
    ("demo", "--out", "input"),
    ("record", "input", "--seconds", "1"),
    ("clip", "input"),
)
