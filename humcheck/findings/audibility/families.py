"""Families of sounds and the names of their margins."""

from __future__ import annotations

from dataclasses import dataclass

WHOLE = "noise"


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """One family of sounds.

    Attributes
    ----------
    name : str
        ``"hum"``, ``"buzz"`` and so on.
    level : str
        Quantity of its level.
    tonal : bool
        Whether it consists of lines.
    between_hz : tuple of float
        Where lines of it may lie that were not found.
    """

    name: str
    level: str
    tonal: bool = True
    between_hz: tuple[float, float] = (20.0, 20_000.0)


FAMILIES = (
    Family(name="hum", level="hum_level", between_hz=(45.0, 20_000.0)),
    Family(name="buzz", level="buzz_level", between_hz=(45.0, 20_000.0)),
    Family(name="hum_and_buzz", level="hum_and_buzz_level", between_hz=(45.0, 20_000.0)),
    Family(name="whistle", level="whistle_level", between_hz=(14_000.0, 20_000.0)),
    Family(name="digital", level="digital_level", between_hz=(900.0, 20_000.0)),
    Family(name="other", level="other_lines_level"),
    Family(name="hiss", level="hiss_level", tonal=False),
)


def margin_quantity(family: str) -> str:
    """Return the quantity of a family's margin: ``audible_margin`` for the whole, else with the family's name."""
    return "audible_margin" if family == WHOLE else f"audible_margin_{family}"


def family_of(level_quantity: str) -> str | None:
    """Return the family that a level belongs to, ``"noise"`` for the whole, None for other quantities."""
    if level_quantity.startswith("noise_level"):
        return WHOLE
    base = level_quantity.removesuffix("_rel").removesuffix("_a")
    return next((family.name for family in FAMILIES if family.level == base), None)
