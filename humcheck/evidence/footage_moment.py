"""The moment of a captured file at which its picture is strongest in its sound, while nothing plays."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from humcheck.audio.files import open_take
from humcheck.audio.levels import power_to_dbfs
from humcheck.comparison.material import MeasuredTake
from humcheck.evidence.encoding import encode
from humcheck.evidence.loudness import common_raise_db, made_louder
from humcheck.evidence.sounds import LIMITED_WORDS, Sound, raise_words

KIND = "footage"
#: Length of the excerpt; the strongest second is in its middle, as far as the quiet stretch allows.
_EXCERPT_S = 3.0
_SHORTEST_S = 1.0


def footage_sounds(group: str, take: MeasuredTake) -> Iterator[Sound]:
    """Yield the moment, where a picture was found and a stretch in which nothing plays tells one.

    Parameters
    ----------
    group : str
        What is listened to together.
    take : MeasuredTake
        Of a recording that stands alone.
    """
    at_s = next((row.detail[_AT] for row in take.measures if row.quantity == _NAME and _AT in row.detail), None)
    if at_s is None or take.quiet is None:
        return
    file = open_take(take.quiet.path)
    wanted = min(int(_EXCERPT_S * file.rate_hz), take.quiet.stop - take.quiet.start)
    if wanted < _SHORTEST_S * file.rate_hz:
        return
    middle = int((at_s + 0.5) * file.rate_hz)
    start = min(max(middle - wanted // 2, take.quiet.start), take.quiet.stop - wanted)
    samples = file.read(start, start + wanted)
    raised_db = common_raise_db([samples], file.rate_hz)
    louder, limited = made_louder(samples, file.rate_hz, raised_db)
    words = f"{take.row.file}: where its picture is strongest in the sound while nothing plays, from {at_s:.0f} s on"
    yield Sound(
        group=group,
        kind=KIND,
        role=take.role,
        key=take.key,
        caption=f"{words}, {raise_words(raised_db)}." + (LIMITED_WORDS if limited else ""),
        raised_db=float(raised_db),
        level_dbfs=power_to_dbfs(float(np.mean(samples**2))) + raised_db,
        content=encode(louder, file.rate_hz, hiss_rms=0.0),
        is_limited=limited,
    )


_NAME, _AT = "picture_coupling", "worst_quiet_at_s"
