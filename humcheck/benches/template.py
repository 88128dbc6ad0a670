"""The text of a new bench file: every take of the plan, and what else may be said, as comments."""

from __future__ import annotations

import json
from collections.abc import Iterator

from humcheck.benches.run_order import BenchPlan, PlannedTake, run_order

_HEAD = """\
# The bench: which recordings there are, and how each was made. Lines that begin with # are comments.
# When the takes are recorded under these names, run: humcheck bench bench.toml

[bench]
name = {name}
mains_hz = "auto"               # 50, 60, or "auto": decided from the takes
# listening = ["headphones", "living-room"]     # for whom audibility is predicted; "headphones=105" sets the loudness

# [calibration]                 # 'humcheck calibrate' prints these two lines
# volts_at_full_scale = 1.93
# uncertainty_percent = 1.0

# [margins]                     # differences that still count as the same, each in its own unit
# gain = 0.3
# hum_level_rel = 3.0

# [limits]                      # what must be met; 'humcheck bench' then ends with status 1 where it is not
# hum_level_rel = {{ max = -80.0 }}
# gain = {{ min = -0.5, max = 0.5 }}

# The takes, in the order in which they are made. "file" counts from this file's folder and may be a glob
# ("takes/direct-*.flac"). Takes that share a "plugging" were made without unplugging anything in between.
# One long recording of many runs of the track can stand in place of single files; it is cut at the markers:
# [[recordings]]
# file = "day.wav"
# runs = [
#   {{ role = "direct", picture = "white" }},
#   {{ device = "Alder", port = "1", picture = "white" }},
# ]
"""
_GROUPS = {"recorder": "The bench's own floor", "source_off": "The bench's own floor", "direct": "Direct"}


def bench_text(plan: BenchPlan, name: str) -> str:
    """Return a bench file that names every take of the run order."""
    return "\n".join([_HEAD.format(name=_quoted(name)), *_tables(plan)]).rstrip() + "\n"


def _tables(plan: BenchPlan) -> Iterator[str]:
    group = None
    for take in run_order(plan):
        of_take = _GROUPS.get(take.role) or str(take.device)
        if of_take != group:
            group = of_take
            yield f"# ---- {group} ----\n"
        yield _table(take)


def _table(take: PlannedTake) -> str:
    lines = ["[[takes]]", f"file = {_quoted(take.file)}", f"role = {_quoted(take.role)}"]
    for key in ("device", "port", "picture", "fix", "plugging"):
        value = getattr(take, key)
        if value is not None:
            lines.append(f"{key} = {_quoted(value)}")
    if take.condition:
        inside = ", ".join(f"{key} = {_quoted(value)}" for key, value in take.condition.items())
        lines.append(f"condition = {{ {inside} }}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """Return a TOML basic string; JSON's escapes are among TOML's."""
    return json.dumps(text, ensure_ascii=False)
