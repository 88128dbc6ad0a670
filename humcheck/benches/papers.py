"""The run order on paper: plain text of fixed width that prints on A4."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator

from humcheck.benches.run_order import (
    HANDLING_S,
    REPLUG_S,
    BenchPlan,
    PlannedTake,
    duration_words,
    everything_duration_s,
    plan_duration_s,
    run_order,
)
from humcheck.tracks.layouts import layout

#: Columns that fit on A4 in a fixed-width type of 10 points.
WIDTH = 84
_COLUMNS = "     No  start  play     shown and set"
_DIRECT = "straight coupler in the box's place; same leads, same display, same supplies."


def run_order_text(plan: BenchPlan) -> str:
    """Return the run order with its cost, to be printed and ticked off."""
    return "\n".join([*_head(plan), *_rows(plan), "", *_foot()]) + "\n"


def cost_sentence(plan: BenchPlan) -> str:
    """Return what the plan costs beside what everything would cost."""
    everything, sparse = duration_words(everything_duration_s(plan)), duration_words(plan_duration_s(plan))
    return f"Everything, {plan.n_takes} times: {everything}. This plan: {sparse}, {len(run_order(plan))} takes."


def _head(plan: BenchPlan) -> list[str]:
    title = "Run order: " + ", ".join(plan.devices)
    full_s, silence_s = (round(layout(name, plan.length).duration_s) for name in ("full", "silence"))
    about = (
        f"{cost_sentence(plan)} Reckoned with {full_s} s for the track full, {silence_s} s for the track silence, "
        f"{HANDLING_S:.0f} s to start, stop and name a take, {REPLUG_S:.0f} s to change plugs. Read checklist.txt "
        "first. Plugs are moved with everything off and headphones off the ears."
    )
    title_lines = textwrap.wrap(title, WIDTH)
    return [*title_lines, "=" * max(map(len, title_lines)), "", *_wrapped(about), "", _COLUMNS]


def _wrapped(text: str) -> list[str]:
    """Return lines in which no number is parted from its unit."""
    kept = re.sub(r"(\d) (s|min|h)\b", "\\1\u00a0\\2", text)
    return [line.replace("\u00a0", " ") for line in textwrap.wrap(kept, WIDTH)]


def _rows(plan: BenchPlan) -> Iterator[str]:
    starts_s = 0.0
    before: PlannedTake | None = None
    for number, take in enumerate(run_order(plan), 1):
        todo = _todo(take, before, plan)
        if todo:
            yield ""
            yield from textwrap.wrap(todo, WIDTH)
        play = "nothing" if take.track is None else take.track
        yield from textwrap.wrap(
            f"[ ] {number:3d}  {_clock(starts_s):>5}  {play:8s} {_state(take)}", WIDTH, subsequent_indent=" " * 24
        )
        yield f"                        save as {take.file}"
        starts_s += take.duration_s(plan.length)
        before = take


def _todo(take: PlannedTake, before: PlannedTake | None, plan: BenchPlan) -> str:
    """Return what is to be done before a take; empty where nothing but the picture changes."""
    if take.role == "recorder":
        return (
            "RECORDER ALONE, its level set as checklist.txt says: input terminated (or open, if that is all you have), "
            "nothing connected."
        )
    if take.role == "source_off":
        return f"DIRECT, SOURCE OFF: {_DIRECT}"
    if take.role == "direct":
        if before is not None and before.role == "source_off":
            return "DIRECT: as it is, source switched on."
        return f"DIRECT: all off, {_DIRECT} On again." if take.replug else ""
    return _todo_through(take, before, plan) if take.replug else ""


def _todo_through(take: PlannedTake, before: PlannedTake | None, plan: BenchPlan) -> str:
    where = f"{take.device}, port {take.port}"
    if take.port == plan.ports[-1] and len(plan.ports) > 1:
        where += " (the farthest from the output)"
    if take.fix is not None:
        supply = ", the supply, too" if plan.supply else ""
        return f"{where}: all off, put in the fix {take.fix}{supply}, on again."
    if take.condition.get("supply") == "off":
        return f"{where}: unplug the supply of {take.device}, nothing else."
    if before is not None and (before.device, before.port) == (take.device, take.port):
        return f"{where}: all off, unplug, plug again, on again."
    return f"{where}: all off, plug, on again."


def _state(take: PlannedTake) -> str:
    if take.track is None:
        return "about 20 s of it"
    words = [f"picture {take.picture}", *(f"{key} {value}" for key, value in take.condition.items())]
    return ", ".join(words + ([] if take.fix is None else [f"fix {take.fix}"]))


def _clock(time_s: float) -> str:
    hours, minutes = divmod(round(time_s / 60.0), 60)
    return f"{hours}:{minutes:02d}"


def _foot() -> list[str]:
    text = (
        "Save each take under its name (WAV; for FLAC change the names in bench.toml), then run 'humcheck bench "
        "bench.toml'. A take that went wrong is made again under the same name. If a port other than the last is the "
        "farthest from the output, exchange the two. Let no recording be normalised, cut or converted."
    )
    return textwrap.wrap(text, WIDTH)
