"""What a change is and how sure it is, in words for people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from humcheck.report.catalogue import Catalogue, Setup
from humcheck.report.text import PAGE, NumberStyle, visible
from humcheck.report.use_words import joined
from humcheck.results import Change, quantity

#: Verdicts in order, with their words for the filter.
VERDICTS = {
    "apart": "stands out",
    "unknown": "not judged",
    "open": "cannot be told apart",
    "same": "shown to be the same",
}
#: Why it is not known how well a change repeats, by what the reference says.
_UNKNOWN = {
    "borrowed": "one take only on some side; how well such takes repeat is known from others alone",
    "replugging unknown": "nothing was unplugged between the takes",
}
COUNTED = {
    "apart": ("stands out", "stand out"),
    "unknown": ("not judged", "not judged"),
    "open": ("cannot be told apart", "cannot be told apart"),
    "same": ("shown to be the same", "shown to be the same"),
}


def told_of(row: Change) -> str:
    """Return the quantity that a row is about: that whose spread it is."""
    return str(row.reference.get("quantity", row.quantity)) if row.quantity == "port_spread" else row.quantity


def verdict_of(row: Change) -> str:
    """Return which of `VERDICTS` a change gets."""
    if row.distinguishable:
        return "apart"
    if row.equivalent:
        return "same"
    return "unknown" if row.distinguishable is None else "open"


def certainty_words(row: Change, style: NumberStyle = PAGE) -> str:
    """Return how sure a change is, as a sentence for people."""
    margin = "" if row.margin is None else style.with_unit(_number(row, row.margin, style), row.unit)
    if row.distinguishable:
        within = f", but is shown to be less than {margin}" if row.equivalent and margin else ""
        return f"stands out of the scatter{within}"
    if row.equivalent:
        return f"shown to be the same{f' within {margin}' if margin else ''}"
    if row.distinguishable is None:
        why = _UNKNOWN.get(str(row.reference.get("repeatability")), "how well it repeats is not known")
        return f"not judged: {why}"
    if row.takes_needed:
        same = f" to show that it is less than {margin}" if margin else ""
        return f"cannot be told apart with so few takes; {row.takes_needed} takes of each would probably do{same}"
    return "cannot be told apart"


def _number(row: Change, value: float, style: NumberStyle) -> str:
    return style.number(value, quantity(told_of(row)).decimals)


def chance_words(row: Change) -> str:
    """Return the probability that chance alone gives such a change, as far as it was judged; Holm's if it is there."""
    p = row.p_value if row.p_adjusted is None else row.p_adjusted
    if p is None or row.distinguishable is None:
        return ""
    shown = "p < 0.0001" if p < 1e-4 else f"p = {p:.2g}"
    return shown if row.p_adjusted is None else f"{shown}, for all together"


def what_changed(catalogue: Catalogue, row: Change) -> tuple[str, Setup]:
    """Return what was changed, in words, and what else is to be said of the use."""
    use = Setup.of(row)
    if row.quantity == "port_spread":
        largest, smallest = (visible(str(row.reference.get(name, "?"))) for name in ("largest", "smallest"))
        at_hz = row.reference.get("at_hz")
        where = f" at {at_hz:.0f} Hz" if isinstance(at_hz, int | float) else ""
        return f"all ports: largest at port {largest}, smallest at port {smallest}{where}", replace(use, port=None)
    if row.contrast == "device":
        other = visible(str(row.reference.get("subject", "another")))
        return f"{catalogue.title(row.subject)} instead of {other}", use
    if row.contrast == "condition":
        new, old = dict(use.condition), row.reference.get("condition") or {}
        return _condition_words(new, old), replace(use, condition=tuple(sorted(_same(new, old).items())))
    before = row.reference.get(row.contrast)
    now = getattr(use, row.contrast, None)
    if row.contrast == "fix":
        return f"{_fix(now)} instead of {_fix(before)}", replace(use, fix=None)
    if row.contrast == "port":
        return f"port {visible(str(now))} {_other_ports(row)}", replace(use, port=None)
    return f"{visible(str(now))} picture instead of {visible(str(before))}", replace(use, picture=None)


def _other_ports(row: Change) -> str:
    """Return what a port is set against: one other, or the median of all others."""
    others = row.reference.get("ports")
    if not others:
        return f"instead of port {visible(str(row.reference.get('port')))}"
    return f"against the median of ports {joined([visible(str(name)) for name in others])}"


def _fix(name: object) -> str:
    return "no fix" if name is None else f"with {visible(str(name))}"


def _same(new: dict[str, str], old: dict[str, str]) -> dict[str, str]:
    return {name: value for name, value in new.items() if old.get(name) == value}


def _condition_words(new: dict[str, str], old: dict[str, str]) -> str:
    names = [name for name in {**new, **old} if new.get(name) != old.get(name)]
    told: Sequence[str] = [
        f"{name} {new.get(name, 'not said')} instead of {old.get(name, 'not said')}" for name in names
    ]
    return visible(", ".join(told)) or "another condition"
