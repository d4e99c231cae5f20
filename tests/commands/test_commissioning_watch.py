"""What the command makes of a guided first run that it watches, on simulated chambers right and wrong."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from schemas.base import ServiceName
from schemas.journal import Health, JournalEntry, Wellness
from schemas.requests import Commission, StopCommissioning
from schemas.telemetry import ReadingBase, Report
from services.commands.commissioning_report import NO_PICTURE, page, picture, write
from services.commands.commissioning_watch import Watched
from services.runtime.service import Outgoing
from services.simulator.faults import FaultKind
from services.simulator.models import FridgeModel, ProbeModel
from services.supervisor.controllers import controller_for
from tests.supervisor.bench import FRIDGE, Bench, plant_of


class Seen(Bench):
    """A bench whose every message is watched, too."""

    def __init__(self, model: FridgeModel | None = None) -> None:
        self.watched = Watched("ale")
        super().__init__(plant_of(ale=FRIDGE), {"ale": model or FridgeModel()}, controllers=controller_for)

    def take(self, messages: Iterable[Outgoing]) -> None:
        """Does what the supervisor says, and watches it."""
        said = list(messages)
        for outgoing in said:
            if not isinstance(outgoing.body, bytes):
                self.watched.take(outgoing.body)
        super().take(said)

    def send(self, body: Any) -> None:
        """To the supervisor, and what a bridge says is watched."""
        if isinstance(body, ReadingBase | Report):
            self.watched.take(body)
        super().send(body)

    def begun(self) -> "Seen":
        """A quarter of an hour of ordinary control, then the guided first run is asked for."""
        self.ask("ale", 18.0)
        self.run(minutes=15)
        self.watched = Watched("ale")
        self.watched.begin(self.request(Commission, chamber="ale").at)
        self.run(minutes=1)
        return self


@pytest.fixture(scope="module")
def sound() -> Watched:
    """Of a fridge that is as it should be, to the end."""
    seen = Seen().begun()
    seen.run(hours=3)
    return seen.watched


def test_sound_fridge_is_called_sound(sound: Watched) -> None:
    assert sound.told
    assert sound.plain("page.html")["sound"] is True
    assert sound.lines()[-1] == "Everything answered as it should."


def test_model_comes_with_its_uncertainty_and_with_what_was_learnt(sound: Watched) -> None:
    assert sound.findings is not None
    model = {name: (value, spread, learnt) for name, value, spread, learnt in sound.findings.model()}
    assert {"heater_w", "cooling_w", "probe_s"} <= set(model)
    assert all(value > 0.0 and spread > 0.0 and 0.0 <= learnt <= 1.0 for value, spread, learnt in model.values())
    assert max(learnt for _, _, learnt in model.values()) > 0.1


def test_course_of_every_probe_and_output_is_kept_for_the_picture(sound: Watched) -> None:
    assert set(sound.curves) == {"beer", "air"}
    assert set(sound.levels) == {"cool", "heat", "fan"}
    assert picture(sound).startswith("<svg")


def test_page_has_findings_figures_and_cautions(sound: Watched) -> None:
    assert sound.findings is not None
    shown = page(sound, sound.findings, "")
    assert "Lag of the heater" in shown
    assert "±" in shown
    assert "No part of this is a safety device" in shown


def test_what_people_wrote_cannot_become_markup(sound: Watched) -> None:
    assert sound.findings is not None
    shown = page(sound, replace(sound.findings, lines=("<b>", "- <script>")), "")
    assert "<script>" not in shown


def test_report_that_cannot_be_written_is_told(sound: Watched, tmp_path: Path) -> None:
    assert sound.findings is not None
    kept = write(sound, sound.findings, "", tmp_path / "none" / "page.html")
    assert kept.path == ""
    assert "name another place" in kept.lacks


def test_report_without_the_extra_says_what_it_lacks(sound: Watched, tmp_path: Path) -> None:
    assert sound.findings is not None
    assert write(sound, sound.findings, "", tmp_path / "page.html").lacks == NO_PICTURE


CROSSED = FridgeModel(probes={"beer": ProbeModel("air", 25.0), "air": ProbeModel("beer", 60.0)})
OUTSIDE = FridgeModel(probes={"beer": ProbeModel("beer", 60.0), "air": ProbeModel("ambient", 60.0)})
SWAPPED = FridgeModel(outputs={"cool": "heater", "heat": "compressor", "fan": "fan"})


@pytest.mark.parametrize(
    ("model", "fault", "words"),
    [
        (SWAPPED, None, "Relays are swapped"),
        (CROSSED, None, "'beer' answered before 'air'"),
        (OUTSIDE, None, "the probe is somewhere else"),
        (FridgeModel(), (FaultKind.HEATER_DEAD, "heat"), "Heating with heat: 'air' did not answer"),
        (FridgeModel(), (FaultKind.WELDED_OFF, "heat"), "Heating with heat: 'air' did not answer"),
        (FridgeModel(), (FaultKind.NO_COOLING, "cool"), "Cooling with cool: 'air' did not answer"),
    ],
    ids=["swapped-relays", "crossed-probes", "probe-outside", "dead-heater", "dead-relay", "dead-machine"],
)
def test_each_fault_of_the_wiring_is_named(model: FridgeModel, fault: tuple[FaultKind, str] | None, words: str) -> None:
    seen = Seen(model)
    if fault:
        seen.fault(fault[0], target=fault[1])
    seen.begun().run(hours=4)
    assert seen.watched.plain("")["sound"] is False
    assert words in "\n".join(seen.watched.lines())


def test_beer_inside_stays_within_half_a_kelvin_meanwhile() -> None:
    seen = Seen().begun()
    beers = []
    for _ in range(180):
        seen.run(minutes=1)
        beers.append(seen.sim.truth("ale").beer_c)
    assert seen.watched.told
    assert max(beers) < 18.5
    assert min(beers) > 17.5


def test_progress_grows_until_the_end() -> None:
    seen = Seen().begun()
    shares = []
    while seen.watched.guided is not None:
        shares.append(seen.watched.guided.share)
        seen.run(minutes=5)
    assert shares == sorted(shares)
    assert shares[-1] > 0.5


def test_stopped_run_has_findings_that_are_not_sound() -> None:
    seen = Seen().begun()
    seen.request(StopCommissioning, "r2", chamber="ale")
    assert seen.watched.told
    assert seen.watched.plain("")["sound"] is False


def test_restart_cuts_it_short_and_the_journal_says_so() -> None:
    seen = Seen().begun()
    seen.build(seen.supervisor.snapshot())
    assert "cut short" in seen.watched.lines()[0]


def test_supervisor_that_forgot_it_is_over_without_a_result() -> None:
    seen = Seen().begun()
    seen.build(None)
    seen.run(minutes=3)
    assert seen.watched.over
    assert "its result was not heard" in seen.watched.lines()[0]


def test_older_result_and_other_chambers_are_no_end() -> None:
    seen = Seen().begun()
    began = seen.watched.began
    assert began is not None
    old = JournalEntry(at=began - timedelta(days=1), source="supervisor", id="1", event="chamber-commissioned",
                       who="Ada", why="Old.", chamber="ale")  # fmt: skip
    seen.watched.take(old)
    seen.watched.take(old.model_copy(update={"at": began, "chamber": "lager"}))
    assert not seen.watched.told


def test_lost_supervisor_is_noticed_and_its_return_too() -> None:
    seen = Seen().begun()
    for state, lost in ((Wellness.LOST, True), (Wellness.RUNNING, False)):
        seen.watched.take(Health(at=seen.now, source="supervisor", service=ServiceName.SUPERVISOR, state=state))
        assert seen.watched.lost is lost
