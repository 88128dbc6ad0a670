"""The picture in the quiet of a take: coded rows sought where they were shown, or where a picture is heard at all."""

from __future__ import annotations

from typing import Any

import numpy as np

from humcheck.comparison.material import QuietPart
from humcheck.errors import MeasurementError
from humcheck.estimates.rows import RowsEstimate
from humcheck.results import Key, NotMeasured
from humcheck.takes.take import Take

#: Label of the picture that holds the code.
ROWS = "rows"


#: Seconds in which rows that nobody spoke of are looked for: a line rate that is seen comes with a leak of some size.
GLANCE_S = 10.0


def picture_in_quiet(take: Take, part: QuietPart | None, key: Key) -> tuple[list[Any], RowsEstimate | None]:
    """Seek the coded rows in the quiet part of a take.

    Parameters
    ----------
    take : Take
        The take.
    part : QuietPart or None
        Where it is quiet.
    key : Key
        What its rows belong to; its picture says what was shown.

    Returns
    -------
    rows : list
        Measures or bounds where the rows were shown or found, reasons where they were shown and could not be sought.
    estimate : RowsEstimate or None
        None where there is nothing to say.
    """
    from humcheck.analyzers.picture import PICTURE_QUANTITIES, picture_rows
    from humcheck.estimates.rows import find_rows, sees_a_line_rate

    shown = key.picture == ROWS
    if key.role in ("recorder", "source_off") or not (shown or (part is not None and sees_a_line_rate(part.lines))):
        return [], None
    try:
        if part is None:
            raise MeasurementError("No part of this recording is quiet enough for the picture to be sought in it.")
        samples = take.file.read(part.start, part.stop)
        samples = samples[:, ::-1] if part.swapped else samples
        channels = take.channels
        sounding = [index for index, channel in enumerate(samples.T) if np.any(channel != channel[0])]
        heard = samples[:, sounding]
        if not shown and not find_rows(heard[: _glance(take)], take.rate_hz, part.lines, everywhere=False).found:
            return [], None
        estimate = find_rows(heard, take.rate_hz, part.lines, everywhere=shown)
    except MeasurementError as error:
        reasons = [NotMeasured(**key.fields(quantity=name), reason=error.reason) for name in PICTURE_QUANTITIES]
        return (reasons if shown else []), None
    if not (shown or estimate.found):
        return [], None
    return list(picture_rows(estimate, key, [channels[index] for index in sounding])), estimate


def _glance(take: Take) -> int:
    return round(GLANCE_S * take.rate_hz)
