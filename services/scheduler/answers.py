"""What was answered to requests, so that a repeated one gets the same answer and no second effect."""

from collections.abc import Iterable

from schemas.base import Model, Name
from schemas.requests import Accepted, Refused

KEPT = 300


class Refusal(ValueError):
    """A request that changes nothing, with the reason and, where there is one, the remedy."""

    def __init__(self, reason: str, remedy: str = "") -> None:
        super().__init__(reason)
        self.reason, self.remedy = reason, remedy


class Answer(Model):
    """To whom, and what."""

    client: Name
    reply: Accepted | Refused


class Answers:
    """The last few hundred."""

    def __init__(self, kept: Iterable[Answer] = ()) -> None:
        self._by_id = {answer.reply.id: answer for answer in kept}

    @property
    def kept(self) -> tuple[Answer, ...]:
        """Oldest first, for the snapshot."""
        return tuple(self._by_id.values())

    def get(self, request_id: str) -> Answer | None:
        """None for a request that is new, or too old to be remembered."""
        return self._by_id.get(request_id)

    def keep(self, answer: Answer) -> None:
        """Remembers one; the oldest beyond the limit is forgotten."""
        self._by_id[answer.reply.id] = answer
        if len(self._by_id) > KEPT:
            del self._by_id[next(iter(self._by_id))]
