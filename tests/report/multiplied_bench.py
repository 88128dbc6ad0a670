"""A whole bench made from the results of a few uses: each device's first use, repeated over others, numbers moved."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from typing import Any

import msgspec

from humcheck.results import Change, Curve, Finding, Key, Line, Measure, Results, TakeRow

Use = dict[str, Any]
#: What changes get a row for each contrast.
_CONTRASTED = ("hum_level_rel", "buzz_level_rel", "hiss_level_rel", "gain", "thd")


def uses(
    ports: Sequence[str] = ("1", "2", "3", "4"),
    pictures: Sequence[str] = ("black", "white"),
    supplies: Sequence[str] = ("on", "off"),
    fixes: Sequence[str | None] = (None, "isolating transformer", "ferrite"),
) -> list[Use]:
    """Every way of using a device."""
    return [
        {"port": port, "picture": picture, "condition": {"supply": supply}, "fix": fix}
        for port, picture, supply, fix in itertools.product(ports, pictures, supplies, fixes)
    ]


def multiplied(results: Results, wanted: Sequence[Use], *, repeats: int = 3, seed: int = 5) -> Results:
    """Return results in which every device was used in every wanted way, each `repeats` times."""
    chance = random.Random(seed)
    devices = list(dict.fromkeys(take.device for take in results.takes if take.role == "through" and take.device))
    rows: dict[str, list[Any]] = {
        name: [row for row in getattr(results, name) if row.subject not in devices]
        for name in ("measures", "changes", "curves", "lines", "findings", "not_measured", "traces")
    }
    takes = [take for take in results.takes if take.role != "through"]
    for device in devices:
        first = next(take for take in results.takes if take.device == device)
        for use in wanted:
            offset_db = chance.gauss(0, 0.4) + (4.0 if use["picture"] == "white" else 0.0)
            offset_db -= 10.0 if use["fix"] else 0.0
            takes += _takes(first, use, repeats, len(takes))
            _add_use(rows, results, first, use, offset_db, chance)
        rows["changes"] += _contrasts(device, wanted, chance)
    return msgspec.structs.replace(results, takes=takes, media=[], **rows)


def _takes(first: TakeRow, use: Use, repeats: int, count: int) -> Iterator[TakeRow]:
    for number in range(repeats):
        name = f"t{count + number + 1}"
        yield msgspec.structs.replace(
            first, id=name, file=f"{first.device}-{name}.flac", plugging=str(number + 1), **use
        )


def _is_first_use(row: Key, first: TakeRow) -> bool:
    return (row.subject, row.port, row.picture, row.fix, row.condition) == (
        first.device, first.port, first.picture, first.fix, first.condition,
    )  # fmt: skip


def _add_use(
    rows: dict[str, list[Any]], results: Results, first: TakeRow, use: Use, offset_db: float, chance: random.Random
) -> None:
    renamed: dict[str, str] = {}

    def new_id(old: str) -> str:
        renamed[old] = f"{old}-{len(rows['measures']) + len(rows['curves'])}-{len(renamed)}"
        return renamed[old]

    for name in ("measures", "changes", "curves", "traces", "lines"):
        for row in getattr(results, name):
            if _is_first_use(row, first) and getattr(row, "contrast", "direct") == "direct":
                moved = _moved(row, offset_db if _is_noise(row) else chance.gauss(0, 0.01))
                rows[name].append(msgspec.structs.replace(moved, id=new_id(row.id), **use))
    for row in results.not_measured:
        if _is_first_use(row, first):
            rows["not_measured"].append(msgspec.structs.replace(row, **use))
    for row in results.findings:
        if _is_first_use(row, first):
            rows["findings"].append(_finding(row, use, renamed, offset_db))


def _is_noise(row: Key) -> bool:
    return row.quantity.startswith(("hum", "buzz", "whistle", "audible")) and "frequency" not in row.quantity


def _moved(row: Any, by: float) -> Any:
    if isinstance(row, Curve):
        ends = {
            name: None if values is None else [value + by for value in values]
            for name, values in (("low", row.low), ("high", row.high))
        }
        return msgspec.structs.replace(row, value=[value + by for value in row.value], **ends)
    if isinstance(row, Line):
        return msgspec.structs.replace(row, level_dbfs=row.level_dbfs + by)
    if isinstance(row, Measure | Change) and row.unit.startswith("dB"):
        ends = {name: None if end is None else end + by for name, end in (("low", row.low), ("high", row.high))}
        return msgspec.structs.replace(row, value=row.value + by, **ends)
    return row


def _finding(row: Finding, use: Use, renamed: dict[str, str], offset_db: float) -> Finding:
    evidence = [
        msgspec.structs.replace(pointer, **{
            name: renamed.get(value, value)
            for name in pointer.__struct_fields__ if (value := getattr(pointer, name)) is not None
        })
        for pointer in row.evidence
    ]  # fmt: skip
    sentence = row.sentence.replace(", port 1", f", port {use['port']}")
    severity = row.severity
    if row.kind == "hum" and severity != "none" and offset_db < -3:
        severity = "none"
    return msgspec.structs.replace(
        row, id=f"{row.id}-{id(use)}", sentence=sentence, severity=severity, evidence=evidence, **use
    )


def _contrasts(device: str, wanted: Sequence[Use], chance: random.Random) -> Iterator[Change]:
    """Yield changes of one thing at a time, against the first value of each."""
    first = wanted[0]
    count = itertools.count(1)
    for contrast in ("picture", "condition", "fix", "port"):
        for use in wanted:
            if use[contrast] == first[contrast]:
                continue
            for quantity, channel in itertools.product(_CONTRASTED, ("left", "right")):
                value = chance.gauss(0, 0.2) + (4.0 if contrast == "picture" and "level" in quantity else 0.0)
                half = 0.25
                apart = abs(value) > half
                yield Change(
                    id=f"contrast-{device}-{next(count)}", subject=device, role="through", quantity=quantity,
                    channel=channel, contrast=contrast, value=value, low=value - half, high=value + half,
                    unit="percent" if quantity == "thd" else "dB",
                    reference={"subject": device, "role": "through", "n_takes": 3, contrast: first[contrast]},
                    p_value=0.001 if apart else 0.4, p_adjusted=0.01 if apart else 1.0, distinguishable=apart,
                    equivalent=abs(value) + half < 0.3, margin=0.3,
                    takes_needed=None if apart or abs(value) + half < 0.3 else 7, **use,
                )  # fmt: skip
    yield Change(
        id=f"contrast-{device}-spread", subject=device, role="through", quantity="port_spread", channel="left",
        contrast="port", value=0.12, low=0.05, high=0.2, unit="dB", equivalent=True, margin=0.3,
        reference={"subject": device, "role": "through", "n_takes": 3, "quantity": "gain", "largest": "2",
                   "smallest": "4"}, picture="white", distinguishable=False,
    )  # fmt: skip
