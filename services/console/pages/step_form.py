"""One step in fields: what it does, what ends it, what else holds of it; complaints stand beside their fields."""

from collections.abc import Callable
from zoneinfo import ZoneInfo

from nicegui import ui

from schemas.profiles import Step
from services.console.desk.drafts import KINDS, SUCH_AS, Draft, DraftError, ends_for, step_of
from services.console.desk.forms import Shown
from services.console.pages.fields import Choice, Field, Line, Paragraph, fault_all, press, words

LATE = {"": "waits, and tells", "go-on": "goes on by itself", "hold-and-call": "holds, and calls"}
NO_VALUE = ("by hand",)


class StepForm:
    """`take_over` is called with the form when its step is whole, `close` when it was given up."""

    def __init__(
        self,
        index: int,
        draft: Draft,
        shown: Shown,
        zone: ZoneInfo,
        take_over: Callable[["StepForm"], None],
        close: Callable[[], None],
    ) -> None:
        self.index = index
        self.draft = draft
        self.step: Step | None = None
        self._shown, self._zone = shown, zone
        self._take_over, self._close = take_over, close

    def draw(self) -> None:
        """In the row of its step."""
        self.place = ui.element("div").classes("step-form").props('role="group" aria-label="Rewrite this step"')
        self._write()

    def _write(self) -> None:
        self.fields: dict[str, Field] = {}
        self.place.clear()
        with self.place:
            with ui.element("div").classes("fields"):
                self._main()
            with ui.element("details"):
                words("More: band, earliest, latest, alarms, pressure, what a person is to do", "summary")
                with ui.element("div").classes("fields"):
                    self._rest()
            self.trouble = words("", "p", "answer refused").props('role="alert"')
            with ui.element("div").classes("presses"):
                press("Take this over", self._done, "strong")
                press("Leave this step as it was", self._close, looks=True)

    def _main(self) -> None:
        draft, unit = self.draft, self._shown.get("degC", "degC")
        self.fields["name"] = Line("Name", draft.name).on_change(lambda said: self._set(name=said))
        Choice("What it does", KINDS, draft.kind).on_change(lambda said: self._set(anew=True, kind=said))
        number = draft.target.removesuffix(unit).strip()
        self.fields["target"] = Line("Temperature", number, unit="°F" if unit == "degF" else "°C").on_change(
            lambda said: self._set(target=said)
        )
        Choice("It ends", ends_for(draft.kind), draft.ends).on_change(self._choose_end)
        if draft.ends not in NO_VALUE:
            example = f"such as {SUCH_AS[draft.ends]}"
            label = "namely" if draft.kind != "to" else "taking"
            self.fields["value"] = Line(label.capitalize(), draft.value, help=example).on_change(
                lambda said: self._set(value=said)
            )

    def _rest(self) -> None:
        for key, label, example in MORE:
            self.fields[key] = Line(label, self.draft.more.get(key, ""), such_as=example).on_change(self._more(key))
        Choice("When it lasts too long, it", LATE, self.draft.more.get("when_late", "")).on_change(
            self._more("when_late")
        )
        instruction = Paragraph(
            "What a person is to do", self.draft.more.get("instruction", ""), rows=2, classes="wide"
        )
        self.fields["instruction"] = instruction.on_change(self._more("instruction"))

    def _more(self, key: str) -> Callable[[str], None]:
        return lambda said: self._set(more={**self.draft.more, key: said})

    def _choose_end(self, ends: str) -> None:
        self._set(anew=True, ends=ends, value=SUCH_AS.get(ends, ""))

    def _set(self, anew: bool = False, **changes: object) -> None:
        self.draft = self.draft.but(**changes)
        if anew:
            self._write()

    def _done(self) -> None:
        try:
            self.step = step_of(self.draft, self._shown, self._zone)
        except DraftError as error:
            self.trouble.set_text(fault_all(self.fields, error.problems))
            return
        self._take_over(self)


MORE = (
    ("tolerance", "Band, either way", "0.5 K"),
    ("earliest", "Not over before", "2 d"),
    ("latest", "Too long after", "10 d"),
    ("alarm_above", "Too warm above", "24 degC"),
    ("alarm_below", "Too cold below", "12 degC"),
    ("pressure", "Spunding valve at", "0.8 bar"),
)
"""The key of a profile file, its label, and how it may be written."""
