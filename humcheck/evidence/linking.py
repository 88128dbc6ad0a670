"""Excerpts written into results: a media row for each, and a pointer from the findings that it lets one hear."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import msgspec

from humcheck.evidence.folder import file_names
from humcheck.evidence.sounds import Excerpts, Sound
from humcheck.results import Evidence, Finding, Media, Results

#: What lets one hear a finding, by the quantity that the finding is about, best first.
_HEARD_IN = {
    "hum_level": ("hum", "hum_and_buzz", "quiet"),
    "hum_and_buzz_level": ("hum_and_buzz", "quiet"),
    "buzz_level": ("buzz", "hum_and_buzz", "quiet"),
    "whistle_level": ("whistle", "quiet"),
    "digital_level": ("tones", "quiet"),
    "other_lines_level": ("tones", "quiet"),
    "hiss_level": ("hiss", "quiet"),
    "residual_level": ("programme",),
    "picture_coupling": ("footage",),
}
_OF_ONE_USE = ("subject", "port", "picture", "condition", "fix")


def with_excerpts(results: Results, excerpts: Excerpts, folder: str) -> tuple[Results, dict[str, bytes]]:
    """Return results that list the excerpts, and the excerpts' files by the ids of their rows.

    Parameters
    ----------
    results : Results
        With its findings; earlier media rows are replaced.
    excerpts : Excerpts
        What can be heard.
    folder : str
        Name of the folder beside the results file that holds, or would hold, the files.
    """
    media = []
    noted: set[str] = set()
    for number, (name, sound) in enumerate(zip(file_names(excerpts), excerpts.sounds, strict=True), start=1):
        media.append(
            Media(
                id=f"media-{number}",
                file=f"{folder}/{name}",
                sha256=hashlib.sha256(sound.content).hexdigest(),
                caption=sound.caption,
                group=sound.group,
                kind=sound.kind,
                role=sound.role,
                raised_db=sound.raised_db,
                match_db=sound.match_db,
                is_limited=sound.is_limited,
                note="" if sound.group in noted else excerpts.notes.get(sound.group, ""),
            )
        )
        noted.add(sound.group)
    pairs = list(zip(media, excerpts.sounds, strict=True))
    findings = [_with_media(finding, pairs) for finding in results.findings]
    sounds = {row.id: sound.content for row, sound in pairs}
    return msgspec.structs.replace(results, media=media, findings=findings), sounds


def _with_media(finding: Finding, pairs: Sequence[tuple[Media, Sound]]) -> Finding:
    """Return the finding with pointers to what lets one hear it, after those to its numbers."""
    of_use = [
        (row, sound)
        for row, sound in pairs
        if sound.role != "direct" and all(getattr(sound.key, name) == getattr(finding, name) for name in _OF_ONE_USE)
    ]
    kinds = _HEARD_IN.get(finding.quantity, ())
    heard = [row.id for kind in kinds for row, sound in of_use if sound.kind == kind]
    numbers = [pointer for pointer in finding.evidence if pointer.media is None]
    return msgspec.structs.replace(finding, evidence=[*numbers, *(Evidence(media=name) for name in heard)])


def with_media_of(findings: Sequence[Finding], earlier: Sequence[Finding]) -> list[Finding]:
    """Return findings that were written anew, with the pointers to excerpts that the earlier ones had."""
    known = {_about(finding): [item for item in finding.evidence if item.media is not None] for finding in earlier}
    return [
        msgspec.structs.replace(finding, evidence=[*finding.evidence, *known.get(_about(finding), [])])
        for finding in findings
    ]


def _about(finding: Finding) -> tuple[object, ...]:
    return finding.kind, *finding.identity("channel", "listening")
