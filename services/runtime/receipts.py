"""Which inputs may be acknowledged: those whose consequences are safe."""

from collections import deque
from dataclasses import dataclass, field


@dataclass(slots=True)
class _Batch:
    tickets: list[int]
    awaited: set[int] = field(default_factory=set)


class Receipts:
    """Inputs in the order they came, each waiting for the messages it caused to be safe with the broker."""

    def __init__(self) -> None:
        self._batches: deque[_Batch] = deque()
        self._by_number: dict[int, _Batch] = {}
        self._open = 0

    def __len__(self) -> int:
        return self._open

    def note(self, tickets: list[int], numbers: list[int]) -> None:
        """Inputs, and the numbers of what was published because of them; 0 stands for what needs no confirmation."""
        if not tickets:
            return
        awaited = {number for number in numbers if number}
        self._open += len(tickets)
        batch = _Batch(tickets, awaited)
        self._batches.append(batch)
        self._by_number.update(dict.fromkeys(awaited, batch))

    def confirm(self, numbers: list[int]) -> None:
        """The broker has these."""
        for number in numbers:
            batch = self._by_number.pop(number, None)
            if batch is not None:
                batch.awaited.discard(number)

    def settled(self) -> list[int]:
        """Tickets that may be acknowledged now, in order; each is handed out once."""
        tickets: list[int] = []
        while self._batches and not self._batches[0].awaited:
            tickets.extend(self._batches.popleft().tickets)
        self._open -= len(tickets)
        return tickets
