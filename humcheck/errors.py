"""Exceptions that a user can put right, and the exit status of each. Imports nothing."""

from __future__ import annotations

EXIT_DONE = 0
EXIT_LIMIT_NOT_MET = 1
EXIT_UNUSABLE = 2


def printable(text: object) -> str:
    """Return `text` on one line, control characters and lone surrogates escaped.

    File names and tags come from outside: a newline or an escape sequence in one must not reach the terminal.
    """
    return "".join(
        character if character.isprintable() else character.encode("unicode_escape", "surrogatepass").decode("ascii")
        for character in str(text)
    )


def storable(text: str) -> str:
    """Return `text` with what UTF-8 cannot hold escaped: names of files and arguments need not be text."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


class HumcheckError(Exception):
    """Base of all errors that a user can put right.

    Parameters
    ----------
    problem : str
        What is wrong, as a clause without a full stop.
    where : object, optional
        The file or option it is about.
    remedy : str, optional
        What to do about it.
    """

    exit_status = EXIT_UNUSABLE

    def __init__(self, problem: str, *, where: object = None, remedy: str | None = None) -> None:
        self.problem = problem
        self.where = where
        self.remedy = remedy
        super().__init__(self.sentence())

    def __reduce__(self) -> tuple[object, ...]:
        """Cross from one process to another whole."""
        return _error_again, (type(self), self.problem, self.where, self.remedy)

    def sentence(self) -> str:
        """Return ``where: what is wrong; what to do`` on one line."""
        place = "" if self.where is None else f"{self.where}: "
        remedy = "" if not self.remedy else f"; {self.remedy}"
        return printable(f"{place}{self.problem}{remedy}")


def _error_again(kind: type[HumcheckError], problem: str, where: object, remedy: str | None) -> HumcheckError:
    return kind(problem, where=where, remedy=remedy)


class UnusableTake(HumcheckError):
    """A recording that cannot be read or measured at all."""


class UnusableCall(HumcheckError):
    """Arguments or settings that make no sense together."""


class WouldOverwrite(HumcheckError):
    """An output would replace a file that is not this tool's own."""


class MeasurementError(Exception):
    """A quantity that cannot be measured here, with the reason as a sentence for the report.

    Estimators know no file names; the pipeline turns this into a `not_measured` row.
    """

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)
