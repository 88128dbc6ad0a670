"""Excerpts ready to be written or embedded: each with what is heard in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from humcheck.results import Key
from humcheck.results.rows import Role

#: Parts of a quiet section in words, as captions begin.
PART_WORDS = {
    "hum": "The hum alone",
    "buzz": "The picture buzz alone",
    "hum_and_buzz": "Hum or picture buzz alone (not separable)",
    "whistle": "The picture's whistle alone",
    "tones": "Other steady tones alone",
    "hiss": "What is left when all steady tones are taken away: hiss",
}

LIMITED_WORDS = " Its loudest moments are turned down."


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """One excerpt.

    Attributes
    ----------
    group : str
        What is listened to together.
    kind : str
        ``"quiet"``, ``"programme"`` or a part of the quiet section.
    role : str
        Role of the take that is heard.
    key : Key
        What the take belongs to; quantity and channel mean nothing here.
    caption : str
        What is heard, and by how much it was raised.
    raised_db : float
        The group's raise; the match of level comes on top of it.
    level_dbfs : float
        How loud it is made.
    content : bytes
        A FLAC file.
    match_db : float or None
        What brought it to the direct take's level; None where that is not known.
    is_limited : bool
        Whether its loudest moments were turned down.
    """

    group: str
    kind: str
    role: Role
    key: Key
    caption: str
    raised_db: float
    level_dbfs: float
    content: bytes
    match_db: float | None = None
    is_limited: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpts:
    """All excerpts of one report.

    Attributes
    ----------
    sounds : tuple of Sound
        In the order in which they are shown, those of one group together.
    notes : dict of str to str
        What is to be said of a group as a whole, by its name.
    """

    sounds: tuple[Sound, ...] = ()
    notes: dict[str, str] = field(default_factory=dict)


def decibels(value_db: float) -> str:
    """Return a number of decibels for a caption: whole ones without a point."""
    return f"{value_db:.0f} dB" if value_db == round(value_db) else f"{value_db:.1f} dB"


def raise_words(raised_db: float) -> str:
    """Return by how much a sound was raised, in words for a caption."""
    if raised_db == 0:
        return "as loud as recorded"
    return f"{'raised' if raised_db > 0 else 'lowered'} by {decibels(abs(raised_db))}"


def match_words(match_db: float | None, role: Role) -> str:
    """Return how a through take's level was brought to that of the direct one, as the end of a caption."""
    if role != "through":
        return ""
    if match_db is None:
        return ", not matched in level: the tone of both takes is not known"
    rounded = round(match_db, 1)
    if rounded == 0:
        return ", matched in level (less than 0.1 dB was needed)"
    return f", matched in level ({'+' if rounded > 0 else '-'}{abs(rounded):.1f} dB)"


def use_words(key: Key, others: Sequence[Key]) -> str:
    """Return how a device was used, as far as that tells one of several uses from the others."""
    words = []
    if len({one.port for one in others}) > 1 and key.port is not None:
        words.append(f"port {key.port}")
    if len({one.picture for one in others}) > 1 and key.picture is not None:
        words.append(f"{key.picture} picture")
    for name in sorted({name for one in others for name in one.condition}):
        if len({one.condition.get(name) for one in others}) > 1 and name in key.condition:
            words.append(f"{name} {key.condition[name]}")
    if key.fix is not None:
        words.append(f"with {key.fix}")
    return ", ".join(words)
