"""A small bench with sounds: everything that the page of a bench can show, for tests in a browser."""

from __future__ import annotations

import msgspec

from humcheck.results import Results
from tests.report.listened_results import listened_results
from tests.report.multiplied_bench import multiplied, uses


def listened_bench() -> tuple[Results, dict[str, bytes]]:
    """Results of four uses (two ports, two pictures, one fix), and sounds by the ids of their rows; few lines."""
    results, sounds = listened_results()
    few = [line for line in results.lines if (line.harmonic or 0) <= 6]
    results = msgspec.structs.replace(results, lines=few, limits=[])
    wanted = [
        *uses(("1",), ("black", "white"), ("on",), (None,)),
        *uses(("2",), ("white",), ("on",), (None, "ferrite")),
    ]
    many = multiplied(results, wanted, repeats=2)
    return msgspec.structs.replace(many, media=results.media), sounds
