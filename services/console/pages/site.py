"""The site behind the chambers: services, links, the plant as followed; a chamber to add; files; who may come in."""

from collections.abc import Iterator, Sized
from datetime import datetime

from nicegui import ui

from schemas.journal import Health, Wellness
from schemas.plant import ChamberBase, Probe
from services.console.access import visitor
from services.console.app import Desk
from services.console.desk.batch_words import lasting, when
from services.console.live import Change
from services.console.pages.fields import looks, words
from services.console.pages.frame import follow, frame, units
from services.console.pages.site_access import AccountsPart, TokensPart
from services.console.pages.site_chamber import AddChamber
from services.console.sources import Unavailable
from services.console.units import Units, show_temperature, show_volume

SILENT_AFTER_S = 45.0
LOOK_AGAIN_S = 10.0
HEADS = ("Service", "State", "Since", "Last heard", "Queue", "Version", "Last trouble")


def register(desk: Desk) -> None:
    """The page."""

    @ui.page("/site")
    def site() -> None:
        looks()
        with frame(desk, "Site", "site"):
            words(f"The site {desk.live.plant.site.name}", "h1")
            Services(desk).draw()
            PlantPart(desk, units()).draw()
            if visitor().may_act:
                AddChamber(desk).draw()
            _files()
            if visitor().may_act:
                AccountsPart(desk).draw()
            TokensPart(desk).draw()


class Services:
    """Each service's health, the broker and the store."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self._store = "being looked for ..."

    def draw(self) -> None:
        """And again on news, and from time to time, since silence is no news."""
        with ui.element("section").classes("panel"):
            words("Services", "h2")
            self.links = words("", "p")
            with ui.element("div").classes("scroll"), ui.element("table").classes("rows services"):
                with ui.element("thead"), ui.element("tr"):
                    for head in HEADS:
                        words(head, "th")
                self.rows = ui.element("tbody")
        self._write()
        follow(self.desk, self._on_change)
        ui.timer(0.05, self._look, once=True)
        ui.timer(LOOK_AGAIN_S, self._look)

    def _on_change(self, change: Change) -> None:
        if change.kind in ("healths", "link"):
            self._write()

    async def _look(self) -> None:
        try:
            count = len(await self.desk.history.names())
            self._store = f"there, with {count} series"
        except Unavailable as error:
            self._store = f"away: {error}"
        self._write()

    def _write(self) -> None:
        self.links.set_text(f"Broker: {self._broker()}. Store: {self._store}.")
        self.rows.clear()
        with self.rows:
            for name in sorted(self.desk.live.healths):
                _row(self._cells(self.desk.live.healths[name]))
            if not self.desk.live.healths:
                _row(("No service has been heard yet.",))

    def _broker(self) -> str:
        if self.desk.bus.connected:
            return "there"
        since = when(self.desk.bus.since, self.desk.live.plant.zone)
        return f"away since {since}; what you see is the last that was heard"

    def _cells(self, one: Health) -> tuple[str, ...]:
        now, zone = self.desk.clock.now(), self.desk.live.plant.zone
        ago = (now - one.at).total_seconds()
        return (
            one.service, _state(one, ago), when(one.started, zone), _ago(one.at, now), str(one.queue_depth),
            one.version, one.last_error or "none",
        )  # fmt: skip


class PlantPart:
    """The plant file as the services follow it now."""

    def __init__(self, desk: Desk, picked: Units) -> None:
        self.desk = desk
        self.picked = picked

    def draw(self) -> None:
        """And again when the file changes."""
        with ui.element("section").classes("panel"):
            words("The plant, as it is followed", "h2")
            self.place = ui.element("div")
        self._write()
        follow(self.desk, self._on_change)

    def _on_change(self, change: Change) -> None:
        if change.kind == "plant":
            self._write()

    def _write(self) -> None:
        plant = self.desk.live.plant
        self.place.clear()
        with self.place:
            if self.desk.live.plant_trouble:
                words("The file as it stands now is not followed; what it said before goes on.", "p", "warning")
                words(self.desk.live.plant_trouble, "pre", "paste")
            words(self._facts(), "p", "hint")
            for name, chamber in plant.chambers.items():
                with ui.element("details").classes("chamber-block"):
                    words(f"{name}: {self._in_short(chamber)}", "summary")
                    with ui.element("ul"):
                        for line in self._lines(chamber):
                            words(line, "li")

    def _facts(self) -> str:
        plant = self.desk.live.plant
        circuits = ", ".join(f"{name} {one.limit_a:g} A" for name, one in plant.circuits.items()) or "none"
        people = ", ".join(plant.people) or "nobody"
        altitude = getattr(plant.site, "altitude_m", 0.0)
        return (
            f"{self.desk.settings.plant_path.name}; clocks of {plant.site.timezone}; {altitude:g} m above the sea; "
            f"circuits: {circuits}; told of alarms: {people}."
        )

    def _in_short(self, chamber: ChamberBase) -> str:
        kind = getattr(chamber, "kind", "chamber")
        volume = show_volume(chamber.contents.volume_l, self.picked)
        hold = "" if chamber.hold_c is None else f", holds {show_temperature(chamber.hold_c, self.picked)} when empty"
        return f"{kind}, {volume}{hold}, {_count(chamber.probes, 'probe')}, {_count(chamber.outputs, 'output')}"

    def _lines(self, chamber: ChamberBase) -> Iterator[str]:
        limits = chamber.limits
        low, high = (show_temperature(one, self.picked) for one in (limits.lowest_c, limits.highest_c))
        yield f"limits: {low} to {high}"
        for name, probe in chamber.probes.items():
            yield f"probe {name}: {probe.measures}, every {probe.every_s:g} s, from {_source(probe)}"
        for name, output in chamber.outputs.items():
            circuit = f" on {output.circuit}" if output.circuit else ""
            yield f"output {name}: {output.drives}, {output.power_w:g} W{circuit}"


def _source(probe: Probe) -> str:
    """How it is reached, without anything secret."""
    told = probe.source.model_dump(exclude_none=True, exclude_defaults=True)
    return ", ".join(f"{key} {value}" for key, value in told.items())


def _files() -> None:
    with ui.element("section").classes("panel"):
        words("To take away", "h2")
        words(
            "The backup is all of the recorded history. The support bundle has versions, plant, health and the ends of "
            "the logs for whoever is asked for help; no secret is in it.",
            "p",
            "hint",
        )
        with ui.element("div").classes("presses"):
            ui.link("Backup", "/api/v1/backup").classes("press").props("download")
            ui.link("Support bundle", "/api/v1/support-bundle").classes("press").props("download")


def _count(things: Sized, name: str) -> str:
    return f"1 {name}" if len(things) == 1 else f"{len(things)} {name}s"


def _row(cells: tuple[str, ...]) -> None:
    with ui.element("tr"):
        for cell in cells:
            ill = cell.startswith(("silent", "lost", "stopping"))
            words(cell, "td", "priority critical" if ill else "")


def _state(one: Health, ago_s: float) -> str:
    if one.state is not Wellness.RUNNING:
        return f"{one.state}"
    return "runs" if ago_s <= SILENT_AFTER_S else "silent: it should have spoken"


def _ago(at: datetime, now: datetime) -> str:
    seconds = max(0.0, (now - at).total_seconds())
    return f"{seconds:.0f} s ago" if seconds < 120 else f"{lasting(now - at)} ago"
