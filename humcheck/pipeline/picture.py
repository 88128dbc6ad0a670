"""The picture in the quiet of a take: coded rows sought where they were shown, other pictures folded."""

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


def picture_in_quiet(take: Take, part: QuietPart | None, key: Key) -> tuple[list[Any], RowsEstimate | None]:
    """Seek the coded rows in the quiet part of a take; of another picture whose rows are known, fold its field.

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
        Measures or bounds where the rows were shown, reasons where they could not be sought; curves and traces.
    estimate : RowsEstimate or None
        None where the code was not shown, or could not be sought.
    """
    from humcheck.analyzers.picture import PICTURE_QUANTITIES, picture_rows
    from humcheck.analyzers.picture_curves import coupling_curves, fold_of_lines, fold_of_rows
    from humcheck.estimates.rows import find_rows

    # Strong lines of another picture look like a weak leak of the code: it is sought only where it was shown.
    if key.role in ("recorder", "source_off"):
        return [], None
    if key.picture != ROWS:
        return [] if part is None else list(fold_of_lines(part.lines, key, take.channels)), None
    try:
        if part is None:
            raise MeasurementError("No part of this recording is quiet enough for the picture to be sought in it.")
        samples = take.file.read(part.start, part.stop)
        samples = samples[:, ::-1] if part.swapped else samples
        channels = take.channels
        sounding = [index for index, channel in enumerate(samples.T) if np.any(channel != channel[0])]
        heard = samples[:, sounding]
        estimate = find_rows(heard, take.rate_hz, part.lines)
    except MeasurementError as error:
        return [NotMeasured(**key.fields(quantity=name), reason=error.reason) for name in PICTURE_QUANTITIES], None
    names = [channels[index] for index in sounding]
    rows = [*picture_rows(estimate, key, names), *coupling_curves(estimate, key, names)]
    return [*rows, *fold_of_rows(estimate, key, names)], estimate
