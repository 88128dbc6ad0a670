"""Rows of the accuracy and cost tables, and how they are printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One figure: what was reached under which condition, against which target, over how many trials."""

    figure: str
    condition: str
    reached: float
    target: float
    unit: str
    n: int
    passed: bool
    note: str = ""


def judged(
    figure: str,
    condition: str,
    reached: float,
    target: float,
    unit: str,
    n: int,
    note: str = "",
    *,
    at_least: bool = False,
) -> Row:
    """Return a row that is met where `reached` is no more than `target`, or no less."""
    return Row(
        figure=figure,
        condition=condition,
        reached=reached,
        target=target,
        unit=unit,
        n=n,
        passed=bool(reached >= target if at_least else reached <= target),
        note=note,
    )


def print_table(title: str, rows: Sequence[Row]) -> None:
    """Print `rows` as Markdown, so that the table can be quoted as it stands."""
    print(f"\n### {title}\n")
    print("| figure | condition | reached | target | unit | n | met | note |")
    print("|---|---|---|---|---|---|---|---|")
    for row in rows:
        cells = (
            row.figure,
            row.condition,
            f"{row.reached:.4g}",
            f"{row.target:.4g}",
            row.unit,
            str(row.n),
            "yes" if row.passed else "NO",
            row.note,
        )
        print(f"| {' | '.join(cells)} |")
