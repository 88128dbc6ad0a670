"""The report: the page, its figures and tables, and the summary on the terminal. Reads results and nothing else."""

from humcheck.report.truth import TruthRow

__all__ = ["TruthRow"]
