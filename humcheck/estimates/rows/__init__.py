"""Coded rows: the picture found in the sound."""

from humcheck.estimates.rows.estimate import find_rows
from humcheck.estimates.rows.result import RowsEstimate

__all__ = ["RowsEstimate", "find_rows"]
