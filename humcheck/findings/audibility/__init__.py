"""Audibility: whether what was measured would be heard, for stated ways of listening. A prediction, and it says so."""

from humcheck.audio.hearing.listening import PRESETS, ListeningSetting, listening_settings, stated_setting
from humcheck.findings.audibility.families import FAMILIES, WHOLE, family_of, margin_quantity
from humcheck.findings.audibility.margins import audibility_rows
from humcheck.findings.audibility.words import (
    Heard,
    difference_severity,
    difference_words,
    heard,
    heard_sentence,
    margin_evidence,
    margin_severity,
)

__all__ = [
    "FAMILIES",
    "PRESETS",
    "WHOLE",
    "Heard",
    "ListeningSetting",
    "audibility_rows",
    "difference_severity",
    "difference_words",
    "family_of",
    "heard",
    "heard_sentence",
    "listening_settings",
    "margin_evidence",
    "margin_quantity",
    "margin_severity",
    "stated_setting",
]
