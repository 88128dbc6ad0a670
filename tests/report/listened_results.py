"""Results with excerpts: made-up sounds whose lengths are known."""

from __future__ import annotations

import hashlib
import io

import numpy as np
import soundfile

from humcheck.results import Evidence, Finding, Media, Results
from tests.report import fake_results

RATE_HZ = 32_000
#: Kind, role, length in seconds, caption.
SOUNDS = (
    ("quiet", "direct", 2.0, "Direct: the quiet section, raised by 42 dB."),
    ("quiet", "through", 2.0, "Through Alder: the quiet section, raised by 42 dB, matched in level (+0.1 dB)."),
    ("hum", "through", 1.5, "The hum alone, through Alder, raised by 42 dB."),
    (
        "hiss",
        "through",
        1.0,
        "What is left when all steady tones are taken away: hiss, raised by 42 dB.",
    ),
)


def flac(seconds: float, seed: int = 1) -> bytes:
    samples = np.random.default_rng(seed).normal(0, 0.003, (int(seconds * RATE_HZ), 2))
    buffer = io.BytesIO()
    with soundfile.SoundFile(buffer, "w", samplerate=RATE_HZ, channels=2, format="FLAC", subtype="PCM_16") as file:
        file.write(samples)
    return buffer.getvalue()


def listened_results(text: str | None = None) -> tuple[Results, dict[str, bytes]]:
    """Results of one device and its sounds by id; `text` stands for every name from outside."""
    sounds, media = {}, []
    for number, (kind, role, seconds, caption) in enumerate(SOUNDS, start=1):
        name = f"media-{number}" if text is None else f"{text}{number}"
        sounds[name] = flac(seconds, number)
        media.append(
            Media(
                id=name,
                file=f"alder-evidence/{number:02d}.flac" if text is None else text,
                sha256=hashlib.sha256(sounds[name]).hexdigest(),
                caption=caption if text is None else text,
                group="Alder" if text is None else text,
                kind=kind if text is None or number < 4 else text,
                role=role,
                raised_db=42.0,
                match_db=0.1 if role == "through" else None,
                note="1 more way of using it was measured but is not played here." if number == 1 else "",
            )
        )
    made = fake_results.compare_results()
    finding = Finding(
        subject="Alder", role="through", quantity="hum_level", id="f", kind="hum", severity="clear",
        sentence="Alder hums.", evidence=[Evidence(media=media[2].id), Evidence(media="not there")],
    )  # fmt: skip
    fields = {name: getattr(made, name) for name in made.__struct_fields__}
    return Results(**(fields | {"media": media, "findings": [finding]})), sounds
