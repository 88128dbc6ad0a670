"""What to try against a noise, in order, and what to take care of: from its cause, and from what was tried already."""

from __future__ import annotations

from humcheck.findings import advice
from humcheck.findings.causes import Verdict
from humcheck.findings.sameness import Differences


def what_to_try(cause: Verdict | None, differ: Differences | None, *, is_hiss: bool) -> list[str]:
    """Return the steps, the likeliest first; what helped already leads, what was done already is left out."""
    if differ:
        return [differ.again]
    if is_hiss:
        return list(advice.HISS)
    if cause is None:
        return [advice.ONE_AT_A_TIME]
    steps = [*cause.best.advice]
    if cause.second is not None:
        steps += cause.second.advice[:2]
    if not cause.best.group and not any("at a time" in step for step in steps):
        steps.append(advice.ONE_AT_A_TIME)
    kept = [f"Keep what helped: {words}. Check level and bass with it." for words in cause.helped]
    return list(dict.fromkeys([*kept, *(step for step in steps if step not in cause.done)]))


def what_to_mind(cause: Verdict | None, differ: Differences | None, *, is_hiss: bool) -> list[str]:
    """Return the cautions that belong to the steps."""
    if differ or is_hiss:
        return []
    if cause is None:
        return [advice.EARTH_CAUTION, advice.CABLE_CAUTION]
    second = () if cause.second is None else cause.second.cautions
    return list(dict.fromkeys([*cause.best.cautions, *second]))
