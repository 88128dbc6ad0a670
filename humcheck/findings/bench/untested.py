"""What a bench did not test: said in one finding, so that nobody takes silence for a result."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.conditions import OFF
from humcheck.findings.bench.making import NO_DEVICE, finding_of
from humcheck.findings.bench.wording import listed, way_words
from humcheck.findings.index import use_of
from humcheck.findings.words import joined
from humcheck.results import Finding, TakeRow

KIND = "not-tested"
#: Keys of a condition that name a supply (common practice, no source).
SUPPLY = ("supply", "power", "psu", "power supply")
#: With so few takes nobody takes the page for a test of a bench.
_LEAST_TAKES = 3


def untested_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield one finding with all that was not tested; nothing where there are only a few takes."""
    takes = [*bench.takes.get("direct", ()), *bench.takes.get("through", ())]
    if len(takes) < _LEAST_TAKES or not bench.takes.get("through"):
        return
    told = [words for check in _CHECKS for words in check(bench)]
    if told:
        yield finding_of(
            KIND,
            NO_DEVICE,
            f"What was not tested: {'; '.join(told)}.",
            quantity="bench",
            confidence="from the list of recordings",
        )


def _devices(bench: BenchRows) -> Iterator[str]:
    """Yield what some devices were recorded with and others were not."""
    takes = bench.takes.get("through", [])
    devices = list(dict.fromkeys(take.device for take in takes if take.device is not None))
    if len(devices) < 2:
        return
    missing: dict[tuple[str, ...], list[str]] = {}
    for words, having in _ways(takes).items():
        without = tuple(device for device in devices if device not in having)
        if without:
            missing.setdefault(without, []).append(words)
    for without, ways in missing.items():
        yield f"{listed(ways, 6)} with {joined(list(without))} (recorded with others)"


def _ways(takes: list[TakeRow]) -> dict[str, set[str]]:
    """Return which devices were recorded in each way."""
    ways: dict[str, set[str]] = {}
    for take in takes:
        if take.device is None:
            continue
        for words in way_words(take):
            ways.setdefault(words, set()).add(take.device)
    return ways


def _floor(bench: BenchRows) -> Iterator[str]:
    if not bench.takes.get("recorder") and not bench.takes.get("source_off"):
        yield (
            "the recorder alone (its input terminated) or the source switched off, so that what the bench itself hums "
            "and hisses is not known"
        )


def _black(bench: BenchRows) -> Iterator[str]:
    pictures = {take.picture for take in bench.takes.get("through", ())}
    if "black" not in pictures:
        named = sorted(picture for picture in pictures if picture is not None)
        beside = f" beside the {joined(named)} one" if len(named) == 1 else ""
        yield f"a black picture{beside}, which tells buzz of the picture from hum"


def _supply(bench: BenchRows) -> Iterator[str]:
    conditions = [take.condition for take in bench.takes.get("through", ())]
    off = any(
        name.lower() in SUPPLY and value.strip().lower() in OFF
        for condition in conditions
        for name, value in condition.items()
    )
    if not off:
        yield "the supply unplugged (where a box works without), which tells whether the hum comes in through it"


def _repeats(bench: BenchRows) -> Iterator[str]:
    counts: dict[object, int] = {}
    for take in (*bench.takes.get("direct", ()), *bench.takes.get("through", ())):
        counts[use_of(take)] = counts.get(use_of(take), 0) + 1
    if max(counts.values(), default=0) < 2:
        yield "repeats: every take was made once, so how much one differs from the next is not known"


def _direct(bench: BenchRows) -> Iterator[str]:
    directs = bench.takes.get("direct", [])
    if len(directs) == 1:
        yield "a second direct recording: how much the bench drifts over the day is not known"
        return
    order = [take.role for take in bench.results.takes if take.role in ("direct", "through")]
    places = (("before the first", order[0]), ("after the last", order[-1]))
    ends = [words for words, role in places if role != "direct"]
    if directs and ends:
        yield f"the direct path {joined(ends)} device, so that drift over the day may pass for an effect"


_CHECKS: tuple[Callable[[BenchRows], Iterator[str]], ...] = (_devices, _floor, _black, _supply, _repeats, _direct)
