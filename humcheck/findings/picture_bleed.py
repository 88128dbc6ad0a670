"""The picture of a port that is not selected, heard at the one that is.

A take says so with the condition ``picture_port``: the port whose source shows the picture, while another is selected.
"""

from __future__ import annotations

from collections.abc import Iterator

from humcheck.findings import advice
from humcheck.findings.audibility import heard, heard_sentence, margin_evidence, margin_severity
from humcheck.findings.index import Use, largest, worst
from humcheck.findings.words import certainty, channel_words, decibels, weaker_in_words
from humcheck.results import Change, Evidence, Finding, Measure
from humcheck.results.rows import Severity

#: Key of a take's condition (``picture port`` is the same): the port whose source shows the picture.
CONDITION = "picture_port"


def other_port(use: Use) -> str | None:
    """Return the port that shows the picture where it is not the one that is selected."""
    named = {name.lower().replace(" ", "_"): port for name, port in use.key.condition.items()}
    shown = named.get(CONDITION)
    return None if use.key.role != "through" or shown in (None, use.key.port) else shown


def picture_bleed(use: Use, coupling: Measure | None, severity: Severity, unit: str) -> Iterator[Finding]:
    """Yield whether the picture of another port is heard at the selected one.

    Parameters
    ----------
    use : Use
        Whose condition names the other port.
    coupling : Measure or None
        Of the coded rows, where they were shown.
    severity : str
        What that weighs.
    unit : str
        Its unit in words.
    """
    if coupling is not None:
        size = _size(coupling, unit)
        curve = use.curves("picture_coupling_curve", use.key.role).get(coupling.channel)
        evidence = [Evidence(measure=coupling.id), Evidence(curve=None if curve is None else curve.id)]
        yield _finding(use, coupling, severity, size, evidence, found=coupling.bound is None)
        return
    change = largest(use.changes("buzz_level", "picture"))
    level = worst(use.measures("buzz_level_rel", use.key.role)) or worst(use.measures("buzz_level", use.key.role))
    if change is None or level is None:
        return
    least = change.value if change.bound == "lower" else change.low
    more = least is not None and least > 0
    at_least = "at least " if change.bound == "lower" else "at most " if change.bound == "upper" else ""
    size = (
        f"in {channel_words(change.channel)} the buzz is {at_least}{decibels(abs(change.value), 0)} "
        f"{'weaker' if change.value < 0 else 'stronger'} than with a black picture there"
    )
    evidence = [Evidence(change=change.id), Evidence(measure=level.id)]
    yield _finding(use, change, "slight" if more else "none", size, evidence, found=more)


def _size(coupling: Measure, unit: str) -> str:
    loudest = (
        "the loudest sound of the track"
        if coupling.quantity.endswith("_rel")
        else "the strongest tone that the recorder can hold"
    )
    would = "would stand at" if coupling.bound is None else "would stay below"
    return (
        f"a full swing from black to white at 1 kHz {would} {coupling.value:.0f} {unit} in "
        f"{channel_words(coupling.channel)}, {weaker_in_words(coupling.value, loudest)}"
    )


def _finding(
    use: Use, row: Measure | Change, severity: Severity, size: str, evidence: list[Evidence], *, found: bool
) -> Finding:
    role = "added"
    margins = heard(use, "buzz", role)
    verdicts = {one.verdict for one in margins}
    source = f"The picture of the source at port {other_port(use)}"
    port = "the selected port" if use.key.port is None else f"port {use.key.port}"
    although = "" if use.key.port is None else f" although {port} is selected"
    if not found:
        sentence = f"{source} could not be found in the sound of {port}: {size}."
        severity = "none"
    else:
        verb = "is heard" if "heard" in verdicts else "may be heard" if "perhaps" in verdicts else "gets into the sound"
        sentence = f"{source} {verb} at {port}{although}: {size}."
        sentence = f"{sentence} {heard_sentence(use, 'buzz', role)}".rstrip()
        of_margin = margin_severity(use, "buzz", role)
        severity = severity if of_margin is None else of_margin
        if severity == "none" and verdicts - {"not"}:
            severity = "slight"
    weighs = severity != "none"
    pointers = [one for one in evidence if one.measure or one.change or one.curve]
    return Finding(
        **row.fields(),
        id=f"picture-bleed-{use.words}",
        kind="bleed",
        severity=severity,
        confidence=certainty(row),
        sentence=sentence,
        advice=list(advice.PICTURE_BLEED) if weighs else [],
        cautions=[advice.CABLE_CAUTION] if weighs else [],
        evidence=[*pointers, *(margin_evidence(use, "buzz", role) if found else [])],
    )
