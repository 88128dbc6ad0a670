"""The results model: flat rows, the registry of quantities, saving and loading."""

from humcheck.results.quantities import QUANTITIES, Quantity, quantity
from humcheck.results.rows import (
    Bench,
    Change,
    Curve,
    Evidence,
    Fault,
    Finding,
    Key,
    LimitOutcome,
    Line,
    Measure,
    Media,
    NotMeasured,
    Results,
    Settings,
    TakeRow,
    Trace,
    TrackIdentity,
)
from humcheck.results.store import load_results, results_schema, results_to_json

__all__ = [
    "QUANTITIES",
    "Bench",
    "Change",
    "Curve",
    "Evidence",
    "Fault",
    "Finding",
    "Key",
    "LimitOutcome",
    "Line",
    "Measure",
    "Media",
    "NotMeasured",
    "Quantity",
    "Results",
    "Settings",
    "TakeRow",
    "Trace",
    "TrackIdentity",
    "load_results",
    "quantity",
    "results_schema",
    "results_to_json",
]
