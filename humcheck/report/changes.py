"""What changes it: the same sound with one thing changed, and how sure that is, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from humcheck.report.catalogue import Catalogue
from humcheck.report.change_words import (
    COUNTED,
    VERDICTS,
    certainty_words,
    chance_words,
    told_of,
    verdict_of,
    what_changed,
)
from humcheck.report.order import GROUPS, group_of, rank, title_of
from humcheck.report.text import PAGE, NumberStyle
from humcheck.results import Change

#: More rows than this are not listed in one table; what stands out comes first.
MOST_ROWS = 120
_NEVER_TOLD = ("hum_frequency", "hum_wander", "buzz_frequency", "whistle_frequency", "tone_level", "peak_level")


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of contrast and its heading."""

    name: str
    title: str
    plain: str


_KINDS = (
    Kind(
        name="picture",
        title="Another picture",
        plain="The same use with another picture on the screen. What grows with a bright picture comes from it.",
    ),
    Kind(
        name="condition",
        title="Another condition",
        plain="The same use with one condition changed, such as the supply.",
    ),
    Kind(
        name="fix",
        title="With a fix",
        plain="The same use with a remedy in the path. Less hum with it says that the remedy helps, and what it helps "
        "against.",
    ),
    Kind(
        name="port",
        title="Another port",
        plain="The same device under the same conditions: one port against the median of the others (of two, against "
        "the other), and how far all of them lie apart.",
    ),
    Kind(
        name="device",
        title="One device against another",
        plain="Both in the same use. The direct recordings cancel, so the bench's own scatter weighs less here.",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """One change as shown."""

    what: str
    device: str
    where: str
    title: str
    channel: str
    value: str
    interval: str
    number: float
    verdict: str
    certainty: str
    chance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeTable:
    """All of one kind.

    Attributes
    ----------
    left_out : int
        Rows that stand in the results file only; none of them stands out more than those listed.
    """

    kind: Kind
    rows: tuple[Changed, ...]
    left_out: int

    @property
    def counts(self) -> str:
        """How many there are of each verdict, ``3 stand out, 4 cannot be told apart``."""
        found = {name: sum(row.verdict == name for row in self.rows) for name in COUNTED}
        said = [f"{count} {COUNTED[name][count > 1]}" for name, count in found.items() if count]
        return ", ".join(said)


def change_tables(catalogue: Catalogue, style: NumberStyle = PAGE) -> list[ChangeTable]:
    """Return a table for each kind of contrast that has rows."""
    made = []
    for kind in _KINDS:
        rows = list(_worse_channels(row for row in catalogue.results.changes if row.contrast == kind.name))
        rows.sort(key=lambda row: (tuple(VERDICTS).index(verdict_of(row)), rank(told_of(row))))
        if rows:
            shown = tuple(_changed(catalogue, row, style) for row in rows[:MOST_ROWS])
            made.append(ChangeTable(kind=kind, rows=shown, left_out=len(rows) - len(shown)))
    return made


def _worse_channels(rows: Iterable[Change]) -> Iterable[Change]:
    """Yield the larger change of both channels, of what is a main figure; a level's twin in dBr only in its absence."""
    chosen: dict[tuple[Any, ...], Change] = {}
    listed = [row for row in rows if _is_main(row)]
    plain = {row.quantity for row in listed}
    for row in listed:
        if row.quantity.removesuffix("_rel") in plain - {row.quantity}:
            continue
        place = (*row.identity("channel"), repr(sorted(row.reference.items(), key=str)))
        other = chosen.get(place)
        if other is None or _weight(row) > _weight(other):
            chosen[place] = row
    return chosen.values()


def _weight(row: Change) -> tuple[bool, bool, float]:
    return row.distinguishable is True, row.channel != "both", abs(row.value)


def _is_main(row: Change) -> bool:
    name = told_of(row).removesuffix("_rel")
    if name in _NEVER_TOLD:
        return False
    group = group_of(name)
    return group not in GROUPS or name in (*group.quantities, *group.headline)


def _changed(catalogue: Catalogue, row: Change, style: NumberStyle) -> Changed:
    what, rest = what_changed(catalogue, row)
    value = style.value(row)
    spread = row.quantity == "port_spread"
    return Changed(
        what=what,
        device=catalogue.title(row.subject),
        where=catalogue.where(rest),
        title=f"{title_of(told_of(row))}, spread" if spread else title_of(row.quantity),
        channel="" if row.channel == "mono" else row.channel,
        value=f"+{value}" if row.value > 0 and row.bound is None and not spread else value,
        interval=style.interval(row),
        number=row.value,
        verdict=verdict_of(row),
        certainty=certainty_words(row, style),
        chance=chance_words(row),
    )
