"""Which device adds least, with reasons; what cannot be told apart is said to be a tie."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from humcheck.findings.audibility import difference_severity, heard_sentence
from humcheck.findings.bench.bench_rows import SEVERITIES, BenchRows
from humcheck.findings.bench.making import NO_DEVICE, UNSURE, certainty_of, finding_of
from humcheck.findings.bench.pairs import Pair, device_pairs
from humcheck.findings.bench.questions import Question
from humcheck.findings.bench.wording import capital, factor_words, listed, margin_words, size_words, way_words
from humcheck.findings.words import joined
from humcheck.results import Finding

KIND = "ranking"
Pairs = Mapping[Question, Sequence[Pair]]


def ranking_findings(bench: BenchRows) -> Iterator[Finding]:
    """Yield the order of the devices, one finding; and one for each question with what it rests on."""
    if len(bench.devices) < 2:
        return
    pairs = device_pairs(bench)
    if not pairs:
        yield _not_alike(bench)
        return
    yield _overall(bench, pairs)
    told = [question for question, rows in pairs.items() if any(_says_something(pair) for pair in rows)]
    for question in told:
        yield _of_question(bench, question, pairs[question])
    yield from _of_the_rest({question: rows for question, rows in pairs.items() if question not in told})


def _not_alike(bench: BenchRows) -> Finding:
    """Return why nothing is said of the order: no use of one device was also a use of another."""
    ways = {device: {words for use in uses for words in way_words(use.key)} for device, uses in bench.uses.items()}
    shared = set.intersection(*ways.values())
    told = [
        f"{device} alone with {listed(own, 6)}"
        for device, every in ways.items()
        if (own := sorted(every - shared - {words for other in ways if other != device for words in ways[other]}))
    ]
    aside = f" ({'; '.join(told)})" if told else ""
    return finding_of(
        KIND,
        NO_DEVICE,
        f"The order of {joined(bench.devices)} is not told: no two of them were recorded in the same use{aside}. Give "
        "all of them the same port, picture and conditions once, in the bench file too.",
        quantity="bench",
        confidence="from the list of recordings",
    )


def _says_something(pair: Pair) -> bool:
    return pair.claim.state in ("different", "perhaps")


def _of_the_rest(pairs: Pairs) -> Iterator[Finding]:
    """Yield what sets no device apart, all in one."""
    every = [pair for rows in pairs.values() for pair in rows]
    if every:
        yield finding_of(
            KIND,
            NO_DEVICE,
            " ".join(text for question, rows in pairs.items() for text in _undecided(question, rows)),
            quantity=next(iter(pairs)).quantity,
            confidence=certainty_of([pair.claim for pair in every]),
            evidence=[pointer for pair in every for pointer in pair.claim.evidence[:1]],
            more_id="rest",
        )


def _overall(bench: BenchRows, pairs: Pairs) -> Finding:
    counting = {question: [pair for pair in rows if _counts(bench, pair)] for question, rows in pairs.items()}
    won: dict[str, dict[Question, list[str]]] = {device: {} for device in bench.devices}
    for question, rows in counting.items():
        for pair in rows:
            if pair.better is not None and pair.worse is not None:
                won[pair.better].setdefault(question, []).append(pair.worse)
    beaten = {worse for of_device in won.values() for others in of_device.values() for worse in others}
    best = [device for device in bench.devices if won[device] and device not in beaten]
    reasons = [_reason(device, won[device]) for device in bench.devices if won[device]]
    deciding = [pair for rows in counting.values() for pair in rows if not pair.is_tie]
    caveat = _not_quite_alike(pairs)
    return finding_of(
        KIND,
        NO_DEVICE,
        " ".join(part for part in (_verdict(bench, best, won), *reasons, caveat) if part),
        quantity="bench",
        confidence=certainty_of([pair.claim for pair in deciding]) if deciding else "not shown",
        evidence=[pointer for pair in deciding for pointer in pair.claim.evidence[:2]],
    )


def _not_quite_alike(pairs: Pairs) -> str:
    """Return in what devices that share no use differed; empty where all were used alike."""
    changes = [change for rows in pairs.values() for pair in rows for change in pair.claim.changes]
    told: dict[str, None] = {}
    for change in changes:
        for device, condition in (
            (str(change.reference.get("subject")), change.reference.get("condition")),
            (change.subject, change.condition if "condition" in change.reference else None),
        ):
            if condition:
                told[f"{device} with {joined([f'{name} {value}' for name, value in sorted(condition.items())])}"] = None
    if not told:
        return ""
    return f"They were not used quite alike ({'; '.join(told)}): what a take does not say is taken for as usual."


def _verdict(bench: BenchRows, best: Sequence[str], won: Mapping[str, Mapping[Question, Sequence[str]]]) -> str:
    winners = [device for device in bench.devices if won[device]]
    if not winners:
        return (
            f"No order of {joined(bench.devices)} is shown: nothing that would be noticed sets one apart from another "
            "beyond what takes differ by."
        )
    others = set(bench.devices)
    complete = [
        device for device in best if {other for rows in won[device].values() for other in rows} == others - {device}
    ]
    if complete:
        return (
            f"{complete[0]} adds least: shown to be better than every other in something, and worse in nothing that "
            "counts."
        )
    if best:
        beats = {device: {other for rows in won[device].values() for other in rows} for device in best}
        told = [f"{device} (better than {joined(sorted(beats[device]))})" for device in best]
        return f"No single one is shown to add least. Shown to be worse in nothing that counts: {listed(told)}."
    return "None is best in everything: each is beaten in something that counts."


def _counts(bench: BenchRows, pair: Pair) -> bool:
    """Return whether a difference matters: what the worse one does weighs something, and the difference is noticed."""
    if pair.worse is None or bench.severity(pair.worse, pair.claim.question.kind) == "none":
        return False
    is_level = pair.claim.question.kind == "level"
    return not is_level or difference_severity("level", pair.claim.change.value) != "none"


def _reason(device: str, won: Mapping[Question, Sequence[str]]) -> str:
    told = [f"{_less(question)} than {joined(list(dict.fromkeys(others)))}" for question, others in won.items()]
    return f"{device}: {listed(told, 6)}."


def _less(question: Question) -> str:
    return {
        "level": "closer to the direct level",
        "balance": "closer to the direct balance",
    }.get(question.noun, f"less {question.noun}")


def _of_question(bench: BenchRows, question: Question, pairs: Sequence[Pair]) -> Finding:
    shown = [pair for pair in pairs if pair.better is not None]
    parts = [f"{capital(text)}." for text in _by_worse(shown, question)]
    if shown and not any(_counts(bench, pair) for pair in shown):
        parts.append("Nobody would notice that, so it does not count for the order.")
    parts += _undecided(question, [pair for pair in pairs if pair.better is None])
    if question.is_noise:
        parts += _audible(bench, question, shown)
    claims = [pair.claim for pair in shown] or [pair.claim for pair in pairs]
    return finding_of(
        KIND,
        NO_DEVICE,
        " ".join(parts),
        quantity=question.quantity,
        confidence=certainty_of(claims),
        evidence=[pointer for pair in (shown or pairs) for pointer in pair.claim.evidence[:2]],
    )


def _by_worse(shown: Sequence[Pair], question: Question) -> Iterator[str]:
    """Yield for each device that is beaten those that beat it, and by how much."""
    beaten: dict[str, list[Pair]] = {}
    for pair in sorted(shown, key=lambda pair: -abs(pair.claim.change.value)):
        beaten.setdefault(str(pair.worse), []).append(pair)
    for worse, pairs in beaten.items():
        told = [f"through {pair.better} by {_size(pair, question)}" for pair in pairs]
        yield f"{_less(question)} than through {worse}: {listed(told, 6)}{_most_words(pairs)}"


def _size(pair: Pair, question: Question) -> str:
    change = pair.claim.change
    in_words = factor_words(-abs(change.value)) if question.is_noise else ""
    return f"{size_words(change)}{f' ({in_words})' if in_words else ''}"


def _undecided(question: Question, pairs: Sequence[Pair]) -> Iterator[str]:
    """Yield which devices are shown to be alike, which measured unlike only once, and which cannot be told apart."""
    of_state: dict[str, list[Pair]] = {}
    for pair in pairs:
        of_state.setdefault(pair.claim.state, []).append(pair)
    for state, found in of_state.items():
        both = listed([" and ".join(sorted(pair.devices)) for pair in found])
        if state == "same":
            yield f"Alike in {question.noun} within {margin_words(found[0].claim.change)} (shown): {both}."
        elif state == "perhaps":
            told = [f"{' and '.join(sorted(pair.devices))} {_size(pair, question)} apart" for pair in found]
            yield f"Perhaps unlike in {question.noun}, {UNSURE}: {listed(told)}."
        elif state == "different":
            yield f"It depends on port, picture or channel which has less {question.noun}: {both}."
        elif all(pair.claim.change.bound is not None for pair in found):
            yield f"No difference in {question.noun} worth a word is shown, the rest is hidden by noise: {both}."
        else:
            needed = max((pair.claim.takes_needed or 0 for pair in found), default=0)
            aside = f"; about {needed} takes of each would probably show sameness, if it is there" if needed else ""
            yield f"Cannot be told apart in {question.noun} with these takes: {both}{aside}."


def _most_words(shown: Sequence[Pair]) -> str:
    several = any(len(pair.claim.changes) > 1 for pair in shown)
    return ", where they differ most" if several else ""


def _audible(bench: BenchRows, question: Question, shown: Sequence[Pair]) -> Iterator[str]:
    """Yield whether what the worse devices add is heard, in their worst use."""
    family = question.quantity.removesuffix("_level")
    for device in dict.fromkeys(pair.worse for pair in shown if pair.worse is not None):
        uses = bench.uses[device]
        worst = max(uses, key=lambda use: SEVERITIES.index(bench.severity(device, question.kind, use.key)))
        sentence = heard_sentence(worst, family)
        if sentence:
            yield f"{device}: {sentence[:1].lower()}{sentence[1:]}"
