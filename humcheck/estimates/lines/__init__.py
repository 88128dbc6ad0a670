"""Families of steady lines in a quiet section, estimated jointly."""

from humcheck.estimates.lines.estimate import fit_lines
from humcheck.estimates.lines.result import FamilyEstimate, LineEstimate

__all__ = ["FamilyEstimate", "LineEstimate", "fit_lines"]
