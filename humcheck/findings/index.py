"""Finding rows by what they belong to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from humcheck.results import Change, Curve, Key, Line, Measure, Results, TakeRow

AnyRow = TypeVar("AnyRow", bound=Key)

_PLACES = tuple[Any, ...]


class RowIndex:
    """The rows of a results file by use, quantity and role: a bench has tens of thousands of rows.

    Parameters
    ----------
    results : Results
        All rows.
    """

    def __init__(self, results: Results) -> None:
        self.results = results
        self._by_quantity: dict[tuple[Any, ...], list[Key]] = {}
        self._lines: dict[tuple[Any, ...], list[Line]] = {}
        numbered: tuple[Sequence[Key], ...] = (results.measures, results.changes, results.curves)
        for rows in numbered:
            for row in rows:
                place = (type(row), use_of(row), row.quantity)
                self._by_quantity.setdefault(place, []).append(row)
        for line in results.lines:
            self._lines.setdefault((use_of(line), line.role), []).append(line)

        self._measures: dict[str, list[Measure]] = {}
        self._first: dict[str, dict[_PLACES, Key]] = {}
        for row in (*results.measures, *results.changes):
            if row.listening is None:
                self._first.setdefault(row.role, {}).setdefault(use_of(row), row)

    def keys(self, role: str) -> list[Key]:
        """Return a key of every use that has measures or changes of `role`, in the order of first appearance."""
        return list(self._first.get(role, {}).values())

    def measures_of_role(self, role: str) -> list[Measure]:
        """Return the measures of a role, audibility left out."""
        if role not in self._measures:
            self._measures[role] = [row for row in self.results.measures if row.role == role and row.listening is None]
        return self._measures[role]

    def rows(self, kind: type[AnyRow], use: _PLACES, quantity: str) -> list[AnyRow]:
        """Return the rows of a kind, a use and a quantity, of every role and channel."""
        return [row for row in self._by_quantity.get((kind, use, quantity), ()) if isinstance(row, kind)]

    def lines(self, use: _PLACES, role: str) -> list[Line]:
        """Return the lines of a use."""
        return self._lines.get((use, role), [])


@dataclass(frozen=True, slots=True)
class Use:
    """One device used in one way (port, picture, condition, fix): what findings are about.

    Attributes
    ----------
    key : Key
        Any row's key of this use; its quantity and channel mean nothing here.
    results : Results
        All rows.
    index : RowIndex, optional
        The same rows, sorted; made where it is not given.
    """

    key: Key
    results: Results
    index: RowIndex | None = None

    @property
    def rows(self) -> RowIndex:
        """All rows, sorted."""
        if self.index is None:
            object.__setattr__(self, "index", RowIndex(self.results))
        assert self.index is not None
        return self.index

    @property
    def subject(self) -> str:
        """Name for sentences, with the port where there is one."""
        return self.key.subject if self.key.port is None else f"{self.key.subject}, port {self.key.port}"

    @property
    def words(self) -> str:
        """All that names this use, for ids: unique among the uses of a results file."""
        condition = ",".join(f"{name}={value}" for name, value in sorted(self.key.condition.items()))
        parts = (
            ("", self.key.subject),
            ("port-", self.key.port),
            ("picture-", self.key.picture),
            ("", condition or None),
            ("fix-", self.key.fix),
        )
        return "/".join(f"{word}{part}" for word, part in parts if part is not None)

    def measures(self, quantity: str, role: str) -> dict[str, Measure]:
        """Return this use's measures of `quantity` by channel."""
        rows = self.rows.rows(Measure, use_of(self.key), quantity)
        return {row.channel: row for row in rows if row.role == role and row.listening is None}

    def changes(self, quantity: str, contrast: str = "direct") -> dict[str, Change]:
        """Return this use's changes of `quantity` by channel."""
        rows = self.rows.rows(Change, use_of(self.key), quantity)
        return {row.channel: row for row in rows if row.contrast == contrast}

    def curves(self, quantity: str, role: str) -> dict[str, Curve]:
        """Return this use's curves of `quantity` by channel."""
        rows = self.rows.rows(Curve, use_of(self.key), quantity)
        return {row.channel: row for row in rows if row.role == role}

    def lines(self, families: Sequence[str], role: str | None = None) -> list[Line]:
        """Return this use's lines of some families."""
        return [row for row in self.rows.lines(use_of(self.key), role or self.key.role) if row.family in families]

    def siblings(self, differs: Callable[[Key], bool]) -> list[Use]:
        """Return the other uses of the same device and port for which `differs` holds."""
        return [
            use
            for use in uses_of(self.rows, self.key.role)
            if (use.key.subject, use.key.port) == (self.key.subject, self.key.port)
            and use_of(use.key) != use_of(self.key)
            and differs(use.key)
        ]


def uses(results: Results, role: str) -> list[Use]:
    """Return every use that has measures or changes of `role`, in the order of first appearance."""
    return uses_of(RowIndex(results), role)


def uses_of(rows: RowIndex, role: str) -> list[Use]:
    """Return the same from an index that was made already."""
    return [Use(key, rows.results, rows) for key in rows.keys(role)]


def use_of(key: Key | TakeRow) -> _PLACES:
    """Return what tells one use from another, as a tuple."""
    items = key.condition.items()
    condition = tuple(sorted(items)) if len(items) > 1 else tuple(items)
    subject = (key.device or key.role) if isinstance(key, TakeRow) else key.subject
    return subject, key.port, key.picture, condition, key.fix


def worst(rows: dict[str, AnyRow]) -> AnyRow | None:
    """Return the row of the channel with the largest value, a value before a bound; ``both`` only if alone."""
    single = [row for channel, row in rows.items() if channel != "both"] or list(rows.values())
    if not single:
        return None
    return max(single, key=lambda row: (row.bound is None, row.value))  # type: ignore[attr-defined]


def largest(rows: dict[str, Change]) -> Change | None:
    """Return the change that is largest in size."""
    single = [row for channel, row in rows.items() if channel != "both"] or list(rows.values())
    return max(single, key=lambda row: abs(row.value)) if single else None
