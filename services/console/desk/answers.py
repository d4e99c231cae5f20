"""What came of something that somebody asked for, in words."""

from typing import Literal, NamedTuple

from schemas.requests import Accepted, Refused
from services.console.link import Answer

Outcome = Literal["accepted", "refused", "unanswered", "waiting"]


class Said(NamedTuple):
    """An outcome and its words."""

    outcome: Outcome
    words: str


WAITING = Said("waiting", "Asked; waiting for the answer ...")


def said(answer: Answer, done: str = "Done.") -> Said:
    """The words for an answer; `done` stands where a service accepts without a word of its own."""
    if isinstance(answer, Accepted):
        return Said("accepted", answer.detail or done)
    if isinstance(answer, Refused):
        reason = answer.reason.rstrip(".")
        remedy = f"; {answer.remedy.rstrip('.')}" if answer.remedy else ""
        return Said("refused", f"Refused: {reason}{remedy}. Nothing was changed.")
    return Said("unanswered", f"Nobody answered. {answer.reason}")
