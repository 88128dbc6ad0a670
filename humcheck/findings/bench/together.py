"""Uses in which several things were changed at once, so that nothing tells which of them did it."""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.making import finding_of
from humcheck.findings.bench.wording import condition_words, listed
from humcheck.findings.index import Use
from humcheck.findings.words import joined
from humcheck.results import Finding

KIND = "changed-together"
_Settings = dict[str, str | None]


def together_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield for each device the uses that differ from every other use in two things and more."""
    for device, uses in bench.uses.items():
        lonely = _lonely([_settings(use) for use in uses])
        if lonely:
            yield _finding(device, lonely)


def _settings(use: Use) -> _Settings:
    """Return all that may be changed of a use, by name; conditions and pictures and fixes alike."""
    key = use.key
    own: _Settings = {"port": key.port, "picture": key.picture, "fix": key.fix}
    return own | {f"{name}": value for name, value in key.condition.items()}


def _lonely(every: list[_Settings]) -> list[tuple[_Settings, _Settings]]:
    """Return the settings that no other matches but for one thing, with the nearest one: of each two the later first.

    Notes
    -----
    Settings are put into bins by all but one of their names in turn: those that share a bin differ in that one alone.
    """
    names = list(dict.fromkeys(name for settings in every for name in settings))
    bins: dict[tuple[object, ...], int] = {}
    places = []
    for settings in every:
        own = [(left_out, *(None if name == left_out else settings.get(name) for name in names)) for left_out in names]
        places.append(own)
        for place in own:
            bins[place] = bins.get(place, 0) + 1
    alone = [index for index, own in enumerate(places) if all(bins[place] == 1 for place in own)]
    pairs = [(index, other) for index in alone if (other := _nearest(every, index)) is not None]
    return [(every[max(pair)], every[min(pair)]) for pair in pairs]


def _nearest(every: list[_Settings], index: int) -> int | None:
    others = [other for other in range(len(every)) if other != index]
    return min(others, key=lambda other: len(_differing(every[index], every[other])), default=None)


def _differing(one: _Settings, other: _Settings) -> list[str]:
    return [name for name in {**one, **other} if one.get(name) != other.get(name)]


def _finding(device: str, lonely: list[tuple[_Settings, _Settings]]) -> Finding:
    # Of two uses that are alone each is the other's nearest: told once.
    pairs: dict[frozenset[tuple[str, object]], str] = {}
    for settings, nearest in lonely:
        names = _differing(settings, nearest)
        told = joined([_words(name, settings.get(name), nearest.get(name)) for name in names])
        pairs.setdefault(frozenset((name, frozenset((settings.get(name), nearest.get(name)))) for name in names), told)
    sentence = (
        f"Of {device} several things were changed at once, and nothing tells which of them did what: "
        f"{listed(list(pairs.values()), 3)}."
    )
    return finding_of(
        KIND,
        device,
        sentence,
        quantity="bench",
        confidence="from the list of recordings",
        advice=["Record it again with one thing changed at a time, a short quiet take each."],
    )


def _words(name: str, now: str | None, before: str | None) -> str:
    if name == "fix":
        return f"{now or 'no fix'} instead of {before or 'no fix'}"
    if name == "picture":
        return f"{now or 'unnamed'} picture instead of {before or 'unnamed'}"
    return condition_words(name, now, before)
