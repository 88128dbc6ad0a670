"""Which parts of a quiet section are measured for themselves: one for each picture that a test clip showed in it."""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from humcheck.results import Key
from humcheck.takes.take import Take

#: What is left out at both ends of the quiet section: edges of the neighbouring sections, as the path smears them.
SECTION_MARGIN_S = 0.15
#: What is left out where the picture changes: players and displays lag sound and picture by some tenths of a second.
CHANGE_MARGIN_S = 0.4
#: The picture that most often buzzes: what is heard of a take is heard with it.
LOUDEST_PICTURE = "white"


@dataclass(frozen=True, slots=True, kw_only=True)
class QuietSpan:
    """A part of the quiet section.

    Attributes
    ----------
    picture : str or None
        What stood on the screen; None where the track does not say.
    skip_start_s, skip_end_s : float
        How far it lies within the section's ends.
    """

    picture: str | None = None
    skip_start_s: float = SECTION_MARGIN_S
    skip_end_s: float = SECTION_MARGIN_S

    def key(self, key: Key) -> Key:
        """Return the key of this part's rows: the clip's timetable says more than a label."""
        return key if self.picture is None else msgspec.structs.replace(key, picture=self.picture)


def quiet_spans(take: Take) -> tuple[QuietSpan, ...]:
    """Return the parts of a take's quiet section that are measured, in order; all of it where no clip was played."""
    if take.layout is None or not take.layout.pictures or not take.layout.has_section("quiet"):
        return (QuietSpan(),)
    quiet = take.layout.section("quiet")
    spans = []
    for shown in take.layout.pictures:
        skip_start_s = max(shown.start_s + CHANGE_MARGIN_S - quiet.start_s, SECTION_MARGIN_S)
        skip_end_s = max(quiet.end_s - shown.end_s + CHANGE_MARGIN_S, SECTION_MARGIN_S)
        if skip_start_s + skip_end_s < quiet.duration_s:
            spans.append(QuietSpan(picture=shown.name, skip_start_s=skip_start_s, skip_end_s=skip_end_s))
    return tuple(spans)
