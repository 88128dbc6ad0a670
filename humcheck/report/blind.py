"""Pairs of excerpts for the blind test: direct and through, matched in level."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from humcheck.report.excerpts import Listening, Player, PlayerGroup
from humcheck.report.text import PAGE, sentence


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindPair:
    """Two excerpts to tell apart.

    Attributes
    ----------
    direct, through : str
        Their places in the page.
    words : str
        What is compared.
    match : str
        How their levels were matched, as the end of a sentence.
    """

    direct: str
    through: str
    words: str
    match: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BlindTest:
    """All pairs, and how many are left out because their match in level is not known."""

    pairs: tuple[BlindPair, ...]
    n_unmatched: int


def blind_test(listening: Listening) -> BlindTest:
    """Return the pairs of a page's own excerpts that a blind test can be made of."""
    pairs = list(_pairs(listening))
    matched = tuple(pair for pair in pairs if pair.match)
    return BlindTest(pairs=matched, n_unmatched=len(pairs) - len(matched))


def _pairs(listening: Listening) -> Iterator[BlindPair]:
    for group in listening.groups:
        there = [player for player in group.whole if player.source]
        directs = [player for player in there if player.role == "direct"]
        for player in there:
            if player.role == "through" and directs:
                yield _pair(group, directs[0], player)


def _pair(group: PlayerGroup, direct: Player, through: Player) -> BlindPair:
    what = "the programme" if through.kind == "programme" else "the quiet section"
    return BlindPair(
        direct=direct.anchor,
        through=through.anchor,
        words=f"{direct.label} against {through.label[:1].lower()}{through.label[1:]}, {what}",
        match=_match(through),
    )


def _match(through: Player) -> str:
    """Return how a sound through a device was brought to the direct one's level; empty where that is not known."""
    if through.match_db is None:
        return ""
    by = "on the 997 Hz tone of both recordings to better than 0.1 dB"
    if through.kind == "programme":
        by = "by the level, between 100 Hz and 10 kHz, of what both recordings share"
    moved = PAGE.with_unit(PAGE.number(abs(through.match_db), 2), "dB")
    if round(through.match_db, 2) == 0:
        done = "no change was needed"
    else:
        done = f"the one through was {'raised' if through.match_db > 0 else 'lowered'} by {moved}"
    return sentence(
        f"matched {by} ({done}). One figure serves both channels, so a balance that is off "
        f"stays to be heard{'; the loudest moments are turned down' if through.is_limited else ''}."
    )
