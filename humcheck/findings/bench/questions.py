"""What is asked of a whole bench: the complaints, each with the quantity that answers it and the words for it."""

from __future__ import annotations

from dataclasses import dataclass

from humcheck.results import Change


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One complaint.

    Attributes
    ----------
    quantity : str
        What is compared.
    kind : str
        Kind of the findings about single uses that belong to it.
    noun : str
        What there is more or less of.
    step : float
        A difference between takes whose scatter is not known is worth a word from here on, in the quantity's unit. For
        noises it is what the mains changes by itself (common practice, no source).
    is_noise : bool
        Whether it can be heard by itself.
    """

    quantity: str
    kind: str
    noun: str
    step: float = 1.0
    is_noise: bool = True

    @property
    def order(self) -> int:
        """Place among the questions."""
        return QUESTIONS.index(self)


QUESTIONS = (
    Question(quantity="hum_level", kind="hum", noun="hum"),
    Question(quantity="hum_and_buzz_level", kind="hum", noun="hum or picture buzz"),
    Question(quantity="buzz_level", kind="buzz", noun="picture buzz"),
    Question(quantity="hiss_level", kind="hiss", noun="hiss"),
    Question(quantity="gain", kind="level", noun="level", step=0.3, is_noise=False),
    Question(quantity="balance", kind="level", noun="balance", step=0.3, is_noise=False),
    Question(quantity="crosstalk_1k", kind="bleed", noun="bleed between left and right", is_noise=False),
    Question(quantity="thd", kind="distortion", noun="distortion", step=0.01, is_noise=False),
)
_BY_QUANTITY = {question.quantity: question for question in QUESTIONS}


def question_of(change: Change) -> Question | None:
    """Return the question that a change answers; that of a spread over ports is of the quantity spread."""
    name = change.reference.get("quantity") if change.quantity == "port_spread" else change.quantity
    return _BY_QUANTITY.get(str(name))
