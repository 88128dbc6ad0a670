"""The sentence about the response over ports."""

import math

import msgspec
import pytest

from humcheck.findings.bench.bench_rows import BenchRows
from humcheck.findings.bench.port_tone import port_tone_findings
from humcheck.findings.index import RowIndex
from humcheck.results import Change, Measure
from humcheck.results.rows import Bench, Results, Settings

PORTS = ["1", "2", "3"]


def spread(value, **more):
    reference = {
        "subject": "Alder", "role": "through", "n_takes": 2, "quantity": "response_span", "largest": "1",
        "smallest": "3", "n_ports": 3, "ports": PORTS, "at_hz": 20.0, "stands_out": "3", "repeatability": "own",
    }  # fmt: skip
    fields = {"low": value - 0.05, "high": value + 0.05} if "bound" not in more else {}
    return Change(
        subject="Alder", role="through", quantity="port_spread", channel="left", contrast="port", unit="dB",
        value=value, id="changes-1", reference=reference | more.pop("reference", {}), **fields, **more,
    )  # fmt: skip


def found(row):
    measures = [
        Measure(
            subject="Alder", role="through", port=port, quantity="hum_level", channel="left", value=-90, unit="dBFS"
        )
        for port in PORTS
    ]
    results = Results(
        bench=Bench(id="b", name="b", created="2001-01-01T00:00:00Z"), settings=Settings(), humcheck_version="0",
        numbers_version=1, created="2001-01-01T00:00:00Z", measures=measures, changes=[row],
    )  # fmt: skip
    (finding,) = port_tone_findings(BenchRows(RowIndex(results)))
    return finding


def test_ports_alike_are_so_within_the_upper_end():
    finding = found(spread(0.02, distinguishable=False, equivalent=True, margin=0.3, p_value=0.5, p_adjusted=1.0))
    assert finding.sentence.startswith("The three ports of Alder pass all frequencies alike within 0.07 dB")
    assert (finding.severity, finding.advice) == ("none", [])
    assert finding.evidence[0].change == "changes-1"
    bound = found(spread(0.004, bound="upper", equivalent=True, margin=0.3))
    assert "alike within 0.01 dB" in bound.sentence


def test_the_port_that_differs_is_named():
    finding = found(spread(2.7, distinguishable=True, equivalent=False, margin=0.3, p_value=1e-9, p_adjusted=1e-8))
    assert "do not pass all frequencies alike: up to 2.70 dB apart, level set aside, at 20 Hz" in finding.sentence
    assert "Port 3 differs most from the others." in finding.sentence
    # At the end of hearing alone it weighs slightly, whatever its size.
    assert finding.severity == "slight"
    inside = {"reference": {"at_hz": 100.0}}
    finding = found(spread(2.7, distinguishable=True, equivalent=False, margin=0.3, p_adjusted=1e-8, **inside))
    assert finding.severity == "clear"


@pytest.mark.parametrize("p_adjusted", [0.04, None])
def test_what_chance_may_do_is_not_certain(p_adjusted):
    """One question of others (Bonferroni) or ports plugged once."""
    told = None if p_adjusted is None else True
    unknown = {} if told else {"reference": {"repeatability": "unknown"}}
    finding = found(spread(0.5, distinguishable=told, p_adjusted=p_adjusted, **unknown))
    sure = p_adjusted is not None and p_adjusted * 1 < 0.05
    assert ("not certain until it is repeated" in finding.sentence) is not sure


def test_ports_plugged_once_are_said_to_be():
    row = spread(0.01, bound="upper", reference={"repeatability": "unknown"})
    assert "another time may make more" in found(row).sentence
    assert found(msgspec.structs.replace(row, value=0.2)).severity == "none"
    assert math.isfinite(row.value)
