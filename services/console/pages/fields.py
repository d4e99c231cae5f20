"""Fields, buttons and answers of our own: native controls, each with its label and a place for complaints."""

from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable, Mapping
from itertools import count
from typing import Any

from nicegui import ui
from nicegui.elements.mixins.text_element import TextElement

from services.console.access import visitor
from services.console.desk.answers import WAITING, Said
from services.console.link import Answer
from services.console.pages.frame import asset

_ids = count(1)
Heard = Callable[[str], Any]


def looks() -> None:
    """Brings the style of forms, lists and small pictures along; to be called before the frame."""
    ui.add_head_html(f'<link rel="stylesheet" href="{asset("forms.css")}">')


def words(text: str, tag: str = "p", classes: str = "") -> TextElement:
    """A piece of plain text; what is in it is never taken for HTML."""
    return TextElement(tag=tag, text=text).classes(classes)


class Field(ABC):
    """A labelled control. `value` is what stands in it now; `fault` puts a complaint beside it, "" takes it away."""

    def __init__(self, label: str, value: str, *, help: str = "", unit: str = "", classes: str = "") -> None:
        self.value = value
        self._heard: list[Heard] = []
        self._id = f"field-{next(_ids)}"
        with ui.element("div").classes(f"field {classes}"):
            words(label, "label").props(f'for="{self._id}"')
            with ui.element("div").classes("control"):
                self.control = self._build()
                if unit:
                    words(unit, "span", "unit").props('aria-hidden="true"')
            self._note = words(help, "span", "note").props(f'id="{self._id}-note"')
            self._complaint = words("", "span", "complaint").props(f'id="{self._id}-fault" role="alert"')
        self._help = help
        self.control.props(f'id="{self._id}" aria-describedby="{self._id}-note {self._id}-fault"')
        if unit:
            self.control.props["aria-label"] = f"{label}, in {unit}"

    @abstractmethod
    def _build(self) -> ui.element:
        """The control itself."""

    def on_change(self, heard: Heard) -> "Field":
        """Calls with what stands there, as it changes."""
        self._heard.append(heard)
        return self

    def fault(self, text: str) -> None:
        """A complaint beside the field."""
        self._complaint.set_text(text)
        self.control.props(remove="aria-invalid")
        if text:
            self.control.props('aria-invalid="true"')

    def _take(self, event: Any) -> Any:
        self.value = str(event.args)
        results = [heard(self.value) for heard in self._heard]
        return next((one for one in results if one is not None), None)


class Line(Field):
    """One line of text; `kind` is an HTML input's type."""

    def __init__(self, label: str, value: str = "", *, kind: str = "text", such_as: str = "", **rest: Any) -> None:
        self._kind, self._such_as = kind, such_as
        super().__init__(label, value, **rest)

    def _build(self) -> ui.element:
        control = ui.element("input").props(f'type="{self._kind}" autocomplete="off" spellcheck="false"')
        control.props["defaultValue"] = self.value
        if self._such_as:
            control.props["placeholder"] = self._such_as
        return control.on("input", self._take, js_handler="(event) => emit(event.target.value)")


class Paragraph(Field):
    """Several lines of text."""

    def __init__(self, label: str, value: str = "", *, rows: int = 4, **rest: Any) -> None:
        self._rows = rows
        super().__init__(label, value, **rest)

    def _build(self) -> ui.element:
        control = ui.element("textarea").props(f'rows="{self._rows}" spellcheck="false"')
        control.props["defaultValue"] = self.value
        return control.on("input", self._take, js_handler="(event) => emit(event.target.value)")


class Choice(Field):
    """One of several; `options` has the words for each value."""

    def __init__(self, label: str, options: Mapping[str, str], value: str = "", **rest: Any) -> None:
        self._options = options
        super().__init__(label, value or next(iter(options), ""), **rest)

    def _build(self) -> ui.element:
        control = ui.element("select")
        with control:
            for value, text in self._options.items():
                option = words(text, "option")
                option.props["value"] = value
                option.props["selected"] = value == self.value
        return control.on("change", self._take, js_handler="(event) => emit(event.target.value)")


class Tick(Field):
    """Yes or no; `value` is `yes` or empty."""

    def _build(self) -> ui.element:
        control = ui.element("input").props('type="checkbox"')
        control.props["defaultChecked"] = self.value == "yes"
        return control.on("change", self._take, js_handler="(event) => emit(event.target.checked ? 'yes' : '')")


def press(text: str, act: Callable[[], Any], kind: str = "", *, label: str = "", looks: bool = False) -> TextElement:
    """A button. A visitor who may not act finds it disabled, unless it only `looks`."""
    button = TextElement(tag="button", text=text).classes(f"press {kind}").props('type="button"')
    if label:
        button.props["aria-label"] = label
    if not looks and not visitor().may_act:
        button.props('disabled title="You may look, not act: sign in as an operator."')
        return button
    return button.on("click", act, args=[])


class Told:
    """The place where an answer is said."""

    def __init__(self) -> None:
        self._line = words("", "p", "answer").props('role="status" aria-live="polite"')

    def say(self, answer: Said) -> None:
        """Puts an answer there."""
        self._line.set_text(answer.words)
        self._line.classes(replace=f"answer {answer.outcome}")

    def clear(self) -> None:
        """Takes it away."""
        self.say(Said("waiting", ""))

    async def ask(self, asking: Awaitable[Answer], say: Callable[[Answer], Said]) -> Answer:
        """Says that it waits, and then what came of it."""
        self.say(WAITING)
        answer = await asking
        self.say(say(answer))
        return answer


def fault_all(fields: Mapping[str, Field], problems: Mapping[str, str]) -> str:
    """Puts each complaint beside its field, and returns what belongs to none."""
    for name, one in fields.items():
        one.fault(problems.get(name, ""))
    return "; ".join(said for name, said in problems.items() if name not in fields)


def readonly_note() -> None:
    """Says to a visitor who may not act why the buttons are off."""
    if not visitor().may_act:
        words("You may look, not act: sign in as an operator to change anything.", "p", "hint")
