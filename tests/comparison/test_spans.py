"""A change of tone that is shown to be none, and takes that were plugged only once."""

import pytest

from humcheck.comparison.certainty import CertaintySettings
from humcheck.comparison.material import MeasuredTake
from humcheck.comparison.occasions import occasions_of
from humcheck.comparison.spans import judged_spans
from humcheck.results import Change, Key, TakeRow


def measured(name, role, plugging):
    row = TakeRow(
        id=name, file=name, sha256="", role=role, plugging=plugging, rate_hz=48000, channels=2, sample_format="PCM_24",
        duration_s=1.0,
    )  # fmt: skip
    subject = "direct" if role == "direct" else "Alder"
    # That there is a response is all that counts here.
    return MeasuredTake(row=row, key=Key(subject=subject, role=role, quantity=""), responses=(None,))


def span(value, *, high=None, bound=None):
    return Change(
        subject="Alder", role="through", quantity="response_span", channel="left", contrast="direct", value=value,
        unit="dB", high=high, low=None if high is None else 0.0, bound=bound, distinguishable=None if bound else True,
    )  # fmt: skip


def judged(row, pluggings=("1", "2"), margin=0.3):
    takes = [measured(f"d{name}", "direct", None) for name in "12"]
    takes += [measured(f"t{number}", "through", plugging) for number, plugging in enumerate(pluggings)]
    (result,) = judged_spans(
        [row], takes, occasions_of(take.row for take in takes), CertaintySettings(margins={"response_span": margin})
    )
    return result


@pytest.mark.parametrize(
    ("row", "same"),
    [
        (span(0.1, high=0.2), True),
        (span(0.1, high=0.4), False),
        (span(0.25, bound="upper"), True),
        (span(0.35, bound="upper"), False),
    ],
)
def test_the_upper_end_decides(row, same):
    assert judged(row).equivalent is same
    assert judged(row).margin == 0.3


def test_mere_repeats_say_nothing_about_another_plugging():
    row = judged(span(0.1, high=0.2), pluggings=("1", "1", "1"))
    assert (row.equivalent, row.distinguishable) == (None, None)
    assert judged(span(0.1, high=0.2), pluggings=(None, None)).distinguishable is True
