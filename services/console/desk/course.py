"""The steps of a batch while somebody rearranges them: what is fixed, what may move, and what to ask for in the end."""

from dataclasses import dataclass, replace

from schemas.profiles import Step, problem_with


@dataclass(frozen=True, slots=True)
class Course:
    """`steps` as they would be; those before `open` are over, and where one runs (`runs`), it is the one at `open`."""

    known: tuple[Step, ...]
    steps: tuple[Step, ...]
    open: int
    runs: bool

    @classmethod
    def of(cls, steps: tuple[Step, ...], open_: int, runs: bool) -> "Course":
        """As the scheduler tells it, nothing changed yet."""
        return cls(steps, steps, open_, runs)

    @property
    def first_loose(self) -> int:
        """From here on steps may move and go; a step that runs may only be rewritten."""
        return self.open + (1 if self.runs else 0)

    @property
    def changed(self) -> bool:
        """Whether there is anything to ask for."""
        return self.steps != self.known

    @property
    def problem(self) -> str:
        """Why nobody could go through these steps; empty when they can."""
        return "nothing would be left to do" if self.open >= len(self.steps) else problem_with(self.steps)

    @property
    def replacement(self) -> tuple[int, tuple[Step, ...]]:
        """The first step that becomes another, and all from there on; as an edit is asked for."""
        pairs = zip(self.known, self.steps, strict=False)
        same = next((index for index, (old, new) in enumerate(pairs) if old != new), None)
        first = min(len(self.known), len(self.steps)) if same is None else same
        first = min(first, len(self.steps) - 1)  # an edit replaces by one step at least
        return first, self.steps[first:]

    def editable(self, index: int) -> bool:
        """Whether a step can be rewritten."""
        return self.open <= index < len(self.steps)

    def loose(self, index: int) -> bool:
        """Whether a step can be moved or taken out."""
        return self.first_loose <= index < len(self.steps)

    def moved(self, index: int, to: int) -> "Course":
        """One step somewhere else; where that cannot be, it goes as far as it can."""
        if not self.loose(index):
            return self
        to = max(self.first_loose, min(to, len(self.steps) - 1))
        others = (*self.steps[:index], *self.steps[index + 1 :])
        return replace(self, steps=(*others[:to], self.steps[index], *others[to:]))

    def without(self, index: int) -> "Course":
        """One step less."""
        if not self.loose(index):
            return self
        return replace(self, steps=(*self.steps[:index], *self.steps[index + 1 :]))

    def rewritten(self, index: int, step: Step) -> "Course":
        """One step said otherwise."""
        if not self.editable(index):
            return self
        return replace(self, steps=(*self.steps[:index], step, *self.steps[index + 1 :]))

    def inserted(self, index: int, step: Step) -> "Course":
        """One step more, before the one that is there now."""
        index = max(self.first_loose, min(index, len(self.steps)))
        return replace(self, steps=(*self.steps[:index], step, *self.steps[index:]))
