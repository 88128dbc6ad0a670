"""The bench file of the demo, for those who keep its takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from humcheck.audio.writing import MARK
from humcheck.pipeline.demo_bench import DemoTake


def bench_file_of(takes: Sequence[DemoTake], name: str) -> str:
    """Return a bench file that names the takes in the order of the day."""
    lines = [f"# {MARK}: the takes of its demo", "[bench]", f"name = {_text(name)}", "mains_hz = 50"]
    for take in takes:
        lines += ["", "[[takes]]", *_table(take)]
    return "\n".join([*lines, ""])


def _table(take: DemoTake) -> Iterator[str]:
    yield f"file = {_text(take.file_name)}"
    if take.role != "through":
        yield f"role = {_text(take.role)}"
    for name in ("device", "port", "picture", "fix", "plugging"):
        value = getattr(take, name)
        if value is not None:
            yield f"{name} = {_text(value)}"
    if take.condition:
        pairs = ", ".join(f"{name} = {_text(value)}" for name, value in take.condition.items())
        yield f"condition = {{ {pairs} }}"


def _text(value: str) -> str:
    """Return a TOML string of a name of our own: it holds neither quotes nor backslashes."""
    return f'"{value}"'
