"""Finding rows by what they belong to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from humcheck.results import Change, Curve, Key, Measure, Results

AnyRow = TypeVar("AnyRow", bound=Key)

#: The fields that tell one way of using a device from another.
_USE = ("subject", "port", "picture", "condition", "fix")


@dataclass(frozen=True, slots=True)
class Use:
    """One device used in one way (port, picture, condition, fix): what findings are about.

    Attributes
    ----------
    key : Key
        Any row's key of this use; its quantity and channel mean nothing here.
    results : Results
        All rows.
    """

    key: Key
    results: Results

    @property
    def subject(self) -> str:
        """Name for sentences, with the port where there is one."""
        return self.key.subject if self.key.port is None else f"{self.key.subject}, port {self.key.port}"

    def measures(self, quantity: str, role: str) -> dict[str, Measure]:
        """Return this use's measures of `quantity` by channel."""
        return self._by_channel(self.results.measures, quantity, role)

    def changes(self, quantity: str, contrast: str = "direct") -> dict[str, Change]:
        """Return this use's changes of `quantity` by channel."""
        return {
            channel: change
            for channel, change in self._by_channel(self.results.changes, quantity, None).items()
            if change.contrast == contrast
        }

    def curves(self, quantity: str, role: str) -> dict[str, Curve]:
        """Return this use's curves of `quantity` by channel."""
        return self._by_channel(self.results.curves, quantity, role)

    def _by_channel(self, rows: Sequence[AnyRow], quantity: str, role: str | None) -> dict[str, AnyRow]:
        wanted = _use_of(self.key)
        return {
            row.channel: row
            for row in rows
            if row.quantity == quantity and (role is None or row.role == role) and _use_of(row) == wanted
        }


def uses(results: Results, role: str) -> list[Use]:
    """Return every use that has measures or changes of `role`, in the order of first appearance."""
    rows: Iterable[Key] = [*results.measures, *results.changes]
    first: dict[tuple[Any, ...], Key] = {}
    for row in rows:
        if row.role == role:
            first.setdefault(_use_of(row), row)
    return [Use(key, results) for key in first.values()]


def _use_of(key: Key) -> tuple[Any, ...]:
    return tuple(tuple(sorted(key.condition.items())) if name == "condition" else getattr(key, name) for name in _USE)


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
