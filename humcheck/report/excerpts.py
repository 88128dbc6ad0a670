"""What can be listened to, as the page shows it: groups of players, each sound a part of the page itself."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from humcheck.report.text import PAGE, sentence, visible
from humcheck.results import Media, Results

#: What is played whole; everything else is a part of it.
_WHOLE = ("quiet", "programme")
#: Kinds in words, for the link from a finding.
_KIND_WORDS = {
    "quiet": "the quiet section",
    "programme": "the programme",
    "hum": "the hum alone",
    "buzz": "the buzz alone",
    "hum_and_buzz": "hum or buzz alone",
    "whistle": "the whistle alone",
    "tones": "the steady tones alone",
    "hiss": "the hiss alone",
    "footage": "the picture's strongest moment",
}
_UNIT_APART = re.compile(r"(\d) dB")
_FLAC = b"fLaC"
#: A FLAC file begins with its mark and a description of 34 bytes; rate and length stand in its bytes 10 to 17.
_DESCRIBED = slice(18, 26)


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """One excerpt.

    Attributes
    ----------
    anchor : str
        Its place in the page.
    caption : str
        What is heard.
    label : str
        The caption's beginning, for the button that switches.
    length : str
        How long it is, in words; empty where the sound is not there.
    source : str
        The sound itself as a data address; empty where it is not there.
    role, kind : str
        Role of the take that is heard, and which part of it.
    match_db : float or None
        By how much the sound through a device was raised to the direct one's level; None where that is not known.
    is_limited : bool
        Whether its peaks were turned down.
    """

    anchor: str
    caption: str
    label: str
    length: str
    source: str
    role: str
    kind: str
    match_db: float | None
    is_limited: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayerGroup:
    """What is listened to together.

    Attributes
    ----------
    whole : tuple of Player
        Direct and through, to switch between.
    parts : tuple of Player
        What the quiet section is made of.
    raised : str
        How far all of the group is raised, as a sentence.
    """

    title: str
    note: str
    raised: str
    whole: tuple[Player, ...]
    parts: tuple[Player, ...]

    @property
    def players(self) -> tuple[Player, ...]:
        """All excerpts of the group."""
        return (*self.whole, *self.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Listening:
    """The part of the page to listen to.

    Attributes
    ----------
    groups : tuple of PlayerGroup
        In the order of the results.
    n_absent : int
        Excerpts that the results name and that are not part of this page.
    folder : str
        Where those lie, as far as the results say.
    links : dict of str to (str, str)
        Place and words of each sound that can be played, by the id of its row.
    """

    groups: tuple[PlayerGroup, ...]
    n_absent: int
    folder: str
    links: dict[str, tuple[str, str]]

    @property
    def playable(self) -> bool:
        """Whether there is anything to hear in the page itself."""
        return bool(self.links)


def listening(results: Results, sounds: Mapping[str, bytes]) -> Listening:
    """Return what the page lets one hear.

    Parameters
    ----------
    results : Results
        Rows of kind ``""`` are other files, not excerpts.
    sounds : mapping of str to bytes
        FLAC files by the ids of their rows, as far as they are there.
    """
    excerpts = [(f"sound-{number}", row) for number, row in enumerate(results.media, start=1) if row.kind]
    playable = {anchor: row for anchor, row in excerpts if _is_flac(sounds.get(row.id, b""))}
    grouped: dict[tuple[str, bool], list[tuple[str, Media]]] = {}
    for anchor, row in excerpts:
        # Programme and quiet section are raised by amounts of their own, and are never switched between.
        grouped.setdefault((row.group, row.kind == "programme"), []).append((anchor, row))
    absent = [row for anchor, row in excerpts if anchor not in playable]
    return Listening(
        groups=tuple(
            _group(title, rows, sounds, is_one_of_two=(title, not is_programme) in grouped)
            for (title, is_programme), rows in grouped.items()
        ),
        n_absent=len(absent),
        folder=visible(absent[0].file.rpartition("/")[0]) if absent else "",
        links={row.id: (anchor, _KIND_WORDS.get(row.kind, "an excerpt")) for anchor, row in playable.items()},
    )


def other_files(results: Results) -> list[Media]:
    """Return the files that are named beside the results and are no excerpts."""
    return [row for row in results.media if not row.kind]


def _group(
    title: str, rows: list[tuple[str, Media]], sounds: Mapping[str, bytes], *, is_one_of_two: bool
) -> PlayerGroup:
    what = "the programme" if rows[0][1].kind == "programme" else "the quiet section"
    players = [(row, _player(anchor, row, sounds.get(row.id, b""))) for anchor, row in rows]
    return PlayerGroup(
        title=visible(f"{title}: {what}" if is_one_of_two else title),
        note=" ".join(dict.fromkeys(sentence(row.note) for row, _ in players if row.note)),
        raised=" ".join(_raised_sentences([row for row, _ in players])),
        whole=tuple(player for row, player in players if row.kind in _WHOLE),
        parts=tuple(player for row, player in players if row.kind not in _WHOLE),
    )


def _player(anchor: str, row: Media, content: bytes) -> Player:
    caption = _UNIT_APART.sub("\\1\u00a0dB", sentence(row.caption))
    there = _is_flac(content)
    return Player(
        anchor=anchor,
        caption=caption,
        label=caption.partition(":")[0].partition(", raised")[0],
        length=_length_words(content) if there else "",
        source=f"data:audio/flac;base64,{base64.b64encode(content).decode('ascii')}" if there else "",
        role=row.role or "",
        kind=row.kind,
        match_db=row.match_db,
        is_limited=row.is_limited,
    )


def _raised_sentences(rows: Sequence[Media]) -> Iterator[str]:
    """Yield how far quiet sections and programme were raised, each once."""
    for kind, what in (("programme", "The programme"), ("quiet", "Everything from the quiet section")):
        chosen = {row.raised_db for row in rows if (row.kind == "programme") == (kind == "programme")}
        for raised_db in sorted(value for value in chosen if value is not None):
            yield f"{what} is {_louder(raised_db)}."


def _louder(raised_db: float) -> str:
    """Return ``raised by 42 dB, 126 times as strong as it is``."""
    if raised_db == 0:
        return "played as it was recorded"
    factor = 10.0 ** (abs(raised_db) / 20.0)
    times = f"{factor:.0f}" if factor >= 10 else f"{factor:.1f}"
    number = PAGE.with_unit(f"{abs(raised_db):g}", "dB")
    if raised_db > 0:
        return f"raised by {number}, which makes it {times} times as strong as it is"
    return f"lowered by {number}"


def _is_flac(content: bytes) -> bool:
    return content.startswith(_FLAC) and len(content) > _DESCRIBED.stop


def _length_words(content: bytes) -> str:
    """Return how long a FLAC file lasts: 20 bits of rate, 8 of format, 36 of length."""
    described = int.from_bytes(content[_DESCRIBED], "big")
    rate_hz, n_samples = described >> 44, described & ((1 << 36) - 1)
    return PAGE.with_unit(f"{n_samples / rate_hz:.1f}", "s") if rate_hz and n_samples else ""
