"""What was found, device by device: sentences by severity, then key numbers. Shared by the page and the terminal."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from humcheck.report.catalogue import Catalogue, Numbered, worst
from humcheck.report.found import Found, found_of
from humcheck.report.order import BESIDE_KINDS, GROUPS, SEVERITY_ORDER, SEVERITY_WORDS, WHOLE_KINDS, Group, title_of
from humcheck.report.text import PAGE, NumberStyle, bound_of, bound_words, one_part_in, visible, voltage_change
from humcheck.results import Finding, Measure, quantity

#: A device that was used in more ways has its findings of nothing, and the reasons of the others, folded.
_MOST_USES_IN_FULL = 4
#: Below this a share is as good as none.
_SMALLEST_PERCENT = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyNumber:
    """One number of a device's card: the worst channel and set-up."""

    group: Group
    label: str
    value: str
    interval: str
    plain: str
    where: str = ""
    channel: str = ""
    bound: str = ""
    measured: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """All that the summary says of one subject.

    Attributes
    ----------
    kind : str
        ``"device"``, ``"take"`` (inspected alone) or ``"bench"`` (the direct path and what belongs to no device).
    severity : str or None
        The most serious finding's; None where nothing was judged.
    is_brief : bool
        Whether it stands for so many uses that only what was found is told in full.
    """

    title: str
    kind: str
    severity: str | None
    verdict: str
    found: tuple[Found, ...]
    numbers: tuple[KeyNumber, ...]
    advice: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    limits: tuple[str, ...] = field(default=())
    is_brief: bool = False

    @property
    def told(self) -> tuple[Found, ...]:
        """Findings that are told in full."""
        return tuple(item for item in self.found if not self._is_folded(item))

    @property
    def folded(self) -> tuple[Found, ...]:
        """Findings of nothing, which many uses fold."""
        return tuple(item for item in self.found if self._is_folded(item))

    @property
    def folded_summary(self) -> str:
        """What a reader opens to see them: what was never found, and what was not found in some uses only."""
        if self.kind == "bench" and self.folded[0].row.kind in BESIDE_KINDS:
            return "Measure by measure"
        weighs = {item.group for item in self.told if item.severity not in ("", "none")}
        never, now_and_then = (
            ", ".join(
                dict.fromkeys(
                    item.group.title.lower()
                    for item in self.folded
                    if item.group is not None and (item.group in weighs) == some
                )
            )
            for some in (False, True)
        )
        words = (
            f"Nothing found: {never}" if never else "",
            f"nothing in some ways of using it: {now_and_then}" if now_and_then else "",
        )
        said = "; ".join(part for part in words if part) or "Nothing found in other respects"
        return said[0].upper() + said[1:]

    def _is_folded(self, item: Found) -> bool:
        if item.row.kind in BESIDE_KINDS:
            return item.row.quantity != "bench" and any(found.row.quantity == "bench" for found in self.found)
        return self.is_brief and item.severity == "none" and item.row.kind not in WHOLE_KINDS


def cards(catalogue: Catalogue, style: NumberStyle = PAGE) -> list[Card]:
    """Return a card for each device, then each single take, then the bench itself."""
    findings = catalogue.results.findings
    under_test = {*catalogue.devices, *catalogue.singles}
    made = [
        _card(catalogue, subject, kind, [row for row in findings if row.subject == subject], style)
        for kind, subjects in (("device", catalogue.devices), ("take", catalogue.singles))
        for subject in subjects
    ]
    rest = [row for row in findings if row.subject not in under_test]
    beside = [row for row in rest if row.kind in BESIDE_KINDS]
    if beside:
        card = _card(catalogue, "direct", "bench", beside, style)
        made.insert(0, replace(card, title="The devices beside each other", verdict="Which adds least", numbers=()))
    rest = [row for row in rest if row.kind not in BESIDE_KINDS]
    if rest or (catalogue.has_direct and not made):
        made.append(_card(catalogue, "direct", "bench", rest, style))
    return made


def _card(catalogue: Catalogue, subject: str, kind: str, findings: list[Finding], style: NumberStyle) -> Card:
    severity = next((step for step in SEVERITY_ORDER if any(row.severity == step for row in findings)), None)
    title = "The bench without a device" if kind == "bench" else catalogue.title(subject)
    numbers = [_key_number(catalogue, subject, group, style) for group in GROUPS]
    found = list(found_of(catalogue, findings, style))
    return Card(
        title=title,
        kind=kind,
        severity=None if kind == "bench" and severity == "none" else severity,
        verdict="Not compared" if any(row.kind == "not-compared" for row in findings) else _verdict(severity, kind),
        found=tuple(found),
        numbers=tuple(number for number in numbers if number is not None),
        advice=_once(text for row in findings for text in row.advice),
        cautions=_once(text for row in findings for text in row.cautions),
        is_brief=len(catalogue.uses(subject)) > _MOST_USES_IN_FULL,
        limits=tuple(_failed_limits(catalogue, subject, style)),
    )


def _verdict(severity: str | None, kind: str) -> str:
    if severity is None:
        return "Not judged"
    if severity == "none":
        return {"device": "No harm found", "bench": "The control"}.get(kind, "Nothing found")
    return f"{SEVERITY_WORDS[severity]} {'effect' if kind == 'device' else 'finding'}"


def _failed_limits(catalogue: Catalogue, subject: str, style: NumberStyle) -> Iterable[str]:
    for limit in catalogue.results.limits:
        if limit.subject == subject and limit.outcome == "fail":
            words = limit_words(limit.quantity, limit.min, limit.max, style)
            yield f"{title_of(limit.quantity)}, {limit.channel}: {words}"


def limit_words(name: str, least: float | None, most: float | None, style: NumberStyle) -> str:
    """Return ``at least 1.0 dB``, ``at most ...``, ``from ... to ...`` with the quantity's unit."""
    entry = quantity(name)
    low = None if least is None else style.number(least, entry.decimals)
    high = None if most is None else style.number(most, entry.decimals)
    if low is not None and high is not None:
        return style.with_unit(f"from {low} to {high}", entry.unit)
    if low is not None:
        return style.with_unit(f"at least {low}", entry.unit)
    return style.with_unit(f"at most {high}", entry.unit) if high is not None else "no limit given"


def _key_number(catalogue: Catalogue, subject: str, group: Group, style: NumberStyle) -> KeyNumber | None:
    # Levels count from the track's full scale where it is known, as in the sentences.
    for name in (twin for headline in group.headline for twin in (f"{headline}_rel", headline)):
        row = _headline_row(catalogue, subject, name)
        if row is not None:
            return _number_of(catalogue, row, group, style)
    reasons = [
        row.reason
        for row in catalogue.results.not_measured
        if row.subject == subject and row.quantity.removesuffix("_rel") in group.headline
    ]
    if not reasons:
        return None
    return KeyNumber(
        group=group,
        label=group.title,
        value="not measured",
        interval="",
        plain=visible(reasons[0]),
        measured=False,
    )


def _headline_row(catalogue: Catalogue, subject: str, name: str) -> Numbered | None:
    """Return the worst row of the role that says most: what the device adds, else what comes through it."""
    by_size = name in ("gain", "balance")
    row: Numbered | None = worst(_without_fix(catalogue.measures(name, "added", subject)), by_size=by_size)
    if row is None and quantity(name).kind != "level":
        row = worst(_without_fix(catalogue.changes(name, subject)), by_size=by_size)
        # How far apart the channels are is read within one take: its change re direct is no answer.
        if row is not None and name.startswith(("crosstalk", "thd")):
            row = None
    for role in ("through", "single", "direct"):
        row = row or worst(_without_fix(catalogue.measures(name, role, subject)), by_size=by_size)
    return row


def _without_fix(rows: Sequence[Numbered]) -> list[Numbered]:
    """Return the rows without a fix, if there are any: what a fix does is not the device's doing."""
    return [row for row in rows if row.fix is None] or list(rows)


def _number_of(catalogue: Catalogue, row: Numbered, group: Group, style: NumberStyle) -> KeyNumber:
    return KeyNumber(
        group=group,
        label=_label(row, group),
        value=style.value(row),
        interval=style.interval(row),
        plain=plain_words(row),
        where=catalogue.where(row),
        channel="" if row.channel == "mono" else row.channel,
        bound=bound_words(row),
    )


def _label(row: Numbered, group: Group) -> str:
    title = "Hum and buzz" if row.quantity.startswith("hum_and_buzz_level") else group.title
    title = {"crosstalk_1k": "Bleed at 1 kHz", "crosstalk_worst": "Bleed at worst"}.get(row.quantity, title)
    if row.quantity == "gain":
        return "Level, change"
    if row.quantity == "tone_level":
        return "Level of the tone"
    if row.role == "added":
        return f"{title} added"
    return f"{title}, change" if not isinstance(row, Measure) and group.key == "tone" else title


def plain_words(row: Numbered) -> str:
    """Return what a number means for readers who do not know decibels; empty where there is nothing to add."""
    entry = quantity(row.quantity)
    if entry.name == "gain":
        return voltage_change(row.value)
    if entry.name == "response_span":
        # What is shown as less than a hundredth of a decibel is said as coarsely.
        shown_db = bound_of(row.bound, row.value, entry.decimals)[1] if row.bound else row.value
        percent = f"{100 * (10 ** (abs(shown_db) / 20) - 1):.2g} %"
        return f"{'less than ' if row.bound == 'upper' else ''}{percent} between the loudest and the softest note"
    if entry.unit == "percent" and row.value > _SMALLEST_PERCENT:
        part, of_what = one_part_in(20 * math.log10(row.value / 100)), "the tone"
    elif entry.name.startswith(("crosstalk", "bleed")):
        part, of_what = one_part_in(row.value), "the other side" if "crosstalk" in entry.name else "the other port"
    elif entry.kind == "level" and row.unit.startswith(("dBFS", "dBr")):
        part = one_part_in(row.value)
        of_what = "the loudest sound of the track" if row.unit.startswith("dBr") else "full scale"
    else:
        return ""
    if not part:
        return ""
    return f"{'less than ' if row.bound == 'upper' else 'about '}{part} of {of_what}"


def _once(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(visible(text) for text in texts))
