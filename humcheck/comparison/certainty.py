"""What the user counts as the same, and how far a comparison may go with few takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

#: A difference of level or of a ratio that nobody hears by itself (common practice, no source).
MARGIN_DB = 0.3
#: Distortion products 80 dB below the tone (common practice, no source).
MARGIN_PERCENT = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class CertaintySettings:
    """What the user set about certainty.

    Attributes
    ----------
    margins : mapping of str to float
        By quantity: the difference that still counts as the same, in the quantity's own unit.
    judge_single_takes : bool
        Whether a difference may be called distinguishable where one side is a single take, by scatter borrowed from
        other takes. Its probability is published either way.
    """

    margins: Mapping[str, float] = field(default_factory=dict)
    judge_single_takes: bool = False

    def margin(self, quantity: str, unit: str) -> float | None:
        """Return the margin of a quantity, the usual one where none is set; None where there is no usual one."""
        set_by_user = self.margins.get(quantity)
        if set_by_user is not None:
            return set_by_user
        return {"dB": MARGIN_DB, "percent": MARGIN_PERCENT}.get(unit)


DEFAULT_CERTAINTY = CertaintySettings()
