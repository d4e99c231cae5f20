"""Helps to add a chamber: listens to devices, lets a person pick, and writes the block for the plant file."""

from nicegui import ui

from services.console.app import Desk
from services.console.desk.answers import Said
from services.console.desk.entries import number_in
from services.console.desk.new_chamber import (
    DRIVES,
    KINDS,
    MEASURES,
    POINTS,
    Draft,
    OutputPick,
    ProbePick,
    problems_of,
    suggestions,
)
from services.console.pages.fields import Choice, Line, Tick, Told, press, words
from services.console.sources import NotUsable, Unavailable

WOULD_DO = (
    "Put it beneath 'chambers:' of the plant file: it would be accepted. `coldside check` says what still protects "
    "each output when something dies; wiring is for licensed people, and every heater needs a cut-out of its own."
)
LONGEST_S = 60.0
MOST_SHOWN = 40


class AddChamber:
    """Nothing is listened to before somebody asks for it, and nothing after the time that they gave."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.found: list[ProbePick] = []
        self.picked: dict[int, Row] = {}
        self.outputs: list[OutputRow] = []

    def draw(self) -> None:
        """The chamber, what was overheard, its relays, and the block."""
        with ui.element("section").classes("panel").props('aria-label="Add a chamber"'):
            words("Add a chamber", "h2")
            words("Let its device speak to the broker, listen, tick what belongs to it, and put the block into the "
                  "plant file: the services take it up by themselves.", "p", "hint")  # fmt: skip
            with ui.element("div").classes("fields"):
                self._about()
            with ui.element("div").classes("fields"):
                self.topics = Line("Topics", "#", help="'#' is all; 'garage/#' all beneath garage.")
                self.seconds = Line("For", "15", unit="s", help=f"At most {LONGEST_S:.0f} s.")
                press("Listen", self._listen, "strong")
            self.told = Told()
            self.place = ui.element("div").classes("overheard")
            self.relays = ui.element("div")
            press("Add a relay", self._add_output)
            press("Write the block", self._write_block, "strong")
            self.verdict = Told()
            self.block = words("", "pre", "paste block").props('tabindex="0" aria-label="Block for the plant file"')
            self.block.set_visibility(False)

    def _about(self) -> None:
        reservoirs = [name for name, one in self.desk.live.plant.chambers.items() if one.kind == "reservoir"]
        self.name = Line("Name", such_as="cellar-fridge", help="Lower-case letters, digits, hyphens.")
        self.kind = Choice("Kind", {name: f"{name}: {says}" for name, says in KINDS.items()})
        self.volume = Line("Volume", "23 L")
        self.hold = Line("Holds when empty", such_as="4 degC", help="May be left empty.")
        self.cooled_by = Choice("Cooled by", {"": "nothing", **{name: name for name in reservoirs}})

    async def _listen(self) -> None:
        try:
            seconds = number_in(self.seconds.value, 1.0, LONGEST_S)
        except ValueError as error:
            self.seconds.fault(str(error))
            return
        self.seconds.fault("")
        self.told.say(Said("waiting", f"Listening to {self.topics.value} for {seconds:g} s ..."))
        try:
            leaves = await self.desk.ears.listen(self.topics.value.strip(), seconds)
        except (NotUsable, Unavailable) as error:
            self.told.say(Said("refused", str(error)))
            return
        self.found = suggestions(leaves)
        self._show()

    def _show(self) -> None:
        likely = sum(bool(one.leaf.measures) for one in self.found)
        heard = f"{len(self.found)} values were heard, {likely} of which could be probes."
        nothing = "Nothing was heard. Is the device on this broker, and does it speak within that time?"
        self.told.say(Said("accepted", heard) if self.found else Said("refused", nothing))
        self.picked = {}
        self.place.clear()
        with self.place:
            for index, pick in enumerate(self.found[:MOST_SHOWN]):
                self.picked[index] = Row(pick)

    def _add_output(self) -> None:
        with self.relays:
            self.outputs.append(OutputRow(len(self.outputs) + 1))

    def _draft(self) -> Draft:
        return Draft(
            name=self.name.value.strip(),
            kind=self.kind.value,
            volume=self.volume.value.strip(),
            cooled_by=self.cooled_by.value,
            hold=self.hold.value.strip(),
            probes=[row.pick for row in self.picked.values() if row.ticked],
            outputs=[row.pick for row in self.outputs if row.pick.topic.strip()],
        )

    def _write_block(self) -> None:
        """Shown in any case: whoever wrote half of it can go on in the file."""
        draft = self._draft()
        self.name.fault("" if draft.name else "give the chamber a name")
        if not draft.name:
            return
        self.block.set_text(f"chambers:\n{draft.block()}")
        self.block.set_visibility(True)
        problems = problems_of(draft, self._plant_text())
        if problems:
            self.verdict.say(Said("refused", f"The plant file would be refused with it: {' / '.join(problems)}"))
        else:
            self.verdict.say(Said("accepted", WOULD_DO))

    def _plant_text(self) -> str:
        try:
            return self.desk.settings.plant_path.read_text(encoding="utf-8")
        except OSError as error:
            return f"# {error}"


class Row:
    """One value that was overheard."""

    def __init__(self, pick: ProbePick) -> None:
        self._pick = pick
        leaf = pick.leaf
        with ui.element("div").classes("heard").props('role="group"'):
            where = leaf.topic if leaf.path is None else f"{leaf.topic}  {leaf.path}"
            self._tick = Tick(where, "", help=f"said {', '.join(leaf.examples)} ({leaf.times} times)", classes="leaf")
            self._name = Line("Named", pick.name)
            self._measures = Choice("Measures", {one: one for one in MEASURES}, pick.measures)
            self._at = Choice("At", {"": "–", **{one: one for one in POINTS}}, pick.at)

    @property
    def ticked(self) -> bool:
        """Whether it is to be a probe."""
        return bool(self._tick.value)

    @property
    def pick(self) -> ProbePick:
        """As it stands in the fields."""
        return ProbePick(self._pick.leaf, self._name.value.strip(), self._measures.value, self._at.value)


class OutputRow:
    """One relay; it is left out while it has no topic."""

    def __init__(self, number: int) -> None:
        with ui.element("div").classes("heard").props('role="group"'):
            self._name = Line("Relay", f"relay-{number}", help="Such as cool, heat, fan.")
            self._drives = Choice("Drives", {one: one for one in DRIVES})
            self._topic = Line("Topic", such_as="garage/node3/relay/1")
            self._on, self._off = Line("On", "1"), Line("Off", "0")
            self._power = Line("Power", such_as="95 W")

    @property
    def pick(self) -> OutputPick:
        """As it stands in the fields."""
        values = (self._name, self._drives, self._topic, self._on, self._off, self._power)
        return OutputPick(*(one.value.strip() for one in values))
