"""Findings about a whole device, or about the whole bench."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from humcheck.findings.bench.claims import MOST_EVIDENCE, Claim
from humcheck.results import Evidence, Finding
from humcheck.results.rows import Role, Severity

#: Findings that are about no device stand with the direct path.
NO_DEVICE = "direct"
#: What is said beside a difference of takes made once, or of one that chance may have picked out of many.
UNSURE = "not certain until it is repeated"


def finding_of(
    kind: str,
    subject: str,
    sentence: str,
    *,
    quantity: str,
    severity: Severity = "none",
    evidence: Iterable[Evidence] = (),
    more_id: str = "",
    **more: Any,
) -> Finding:
    """Return a finding that is about all uses of a subject; `more` are further fields of it."""
    role: Role = "direct" if subject == NO_DEVICE else "through"
    return Finding(
        subject=subject,
        role=role,
        quantity=quantity,
        id="/".join(part for part in (f"{kind}-{quantity}-{subject}", more_id) if part),
        kind=kind,
        severity=severity,
        sentence=sentence,
        evidence=list(dict.fromkeys(evidence))[:MOST_EVIDENCE],
        **more,
    )


def certainty_of(claims: Sequence[Claim]) -> str:
    """Return what the claims of one finding rest on."""
    said = dict.fromkeys(_certainty(claim) for claim in claims)
    return "; ".join(said)


def _certainty(claim: Claim) -> str:
    repeatability = claim.change.reference.get("repeatability")
    borrowed = ", scatter borrowed from the bench's other takes" if repeatability == "borrowed" else ""
    if claim.state == "same":
        return f"shown to be the same within the margin (95 %{borrowed})"
    if claim.state == "different" and claim.change.bound is not None:
        return "at least so much: the rest is hidden by noise (95 %)"
    if claim.state == "different":
        return f"larger than the scatter from take to take (95 % for all such differences together{borrowed})"
    if claim.state == "perhaps" and claim.change.distinguishable:
        return "larger than the scatter from take to take by itself, but one of so many may be so by chance"
    if claim.state == "perhaps":
        beyond = ", though more than the bench's other takes scatter" if repeatability == "borrowed" else ""
        return f"from single takes: not certain{beyond}"
    return "not shown"
