"""A rehearsal that goes on from a site as it is agrees with what then really happens there."""

from collections.abc import Mapping
from datetime import timedelta

import pytest

from schemas.base import ServiceName
from services.rehearsal.answer import Answer
from services.rehearsal.ensemble import on_stage
from services.rehearsal.identified import chilled, identified, plant_as_it_is
from services.rehearsal.performance import Question
from services.rehearsal.plant_model import NoSuchModel, built, factory_named
from services.rehearsal.situation import Situation, kept_by
from services.rehearsal.stage import Stage
from services.rehearsal.whatif import RehearsalRefused, answer_to
from services.runtime.state import Saved, StateFile
from services.scheduler.core import SchedulerState
from services.simulator.bath import Bath
from services.simulator.models import FridgeModel, ReservoirModel
from services.simulator.physics import Plant as Physics
from services.simulator.weather import constant
from tests.rehearsal.situations import HOUR, START, ask, cellar, programme, situation_of, starting

MINUTE = timedelta(minutes=1)
PLANT = cellar()
EAST = programme(
    "name: warm, hold: 16 degC, for: 20 h",
    "name: cool, to: 12 degC, over: 8 h",
    "name: rest, hold: 12 degC, for: 6 h",
)
WEST = programme("name: warm, hold: 17 degC, for: 2 d", "name: keep, hold: 15 degC")


@pytest.fixture(scope="module")
def site() -> tuple[Stage, Situation]:
    stage, _ = on_stage(PLANT, START, tick=MINUTE)
    for batch, profile in (("east", EAST), ("west", WEST)):
        ask(stage, PLANT, starting(batch, batch, profile, stage.now))
    stage.run_until(START + 12 * HOUR)
    return stage, situation_of(stage, PLANT, {"east": EAST, "west": WEST})


@pytest.fixture(scope="module")
def foretold(site: tuple[Stage, Situation]) -> Answer:
    question = Question(site[1], "east", model=plant_as_it_is, tick=MINUTE, longest=24 * HOUR, until_settled=True)
    return answer_to(question)


def test_steps_under_way_go_on_from_where_they_are(foretold: Answer) -> None:
    east = next(one for one in foretold.batches if one.batch == "east")
    assert [(one.name, one.ended) for one in east.steps] == [
        ("warm", START + 20 * HOUR),
        ("cool", START + 28 * HOUR),
        ("rest", START + 34 * HOUR),
    ]
    assert east.finished


def test_curves_of_all_chambers_begin_at_the_temperatures_of_now(
    foretold: Answer, site: tuple[Stage, Situation]
) -> None:
    for name in ("east", "west", "bath"):
        said = site[1].reading(name, "bath" if name == "bath" else "beer")
        assert said == pytest.approx(foretold.curves[name][0].beer_c, abs=0.4)


def test_energy_is_told_by_chamber_and_costs_what_the_plant_file_says(foretold: Answer) -> None:
    assert foretold.kwh == pytest.approx(sum(foretold.kwh_of.values()), abs=0.01)
    assert foretold.kwh_of["bath"] > 0
    assert foretold.cost == pytest.approx(0.30 * foretold.kwh, abs=0.01)


def test_batch_in_an_endless_last_step_is_as_good_as_finished() -> None:
    keep = programme("name: keep, hold: 15 degC")
    stage, _ = on_stage(PLANT, START, tick=MINUTE)
    ask(stage, PLANT, starting("west", "west", keep, stage.now))
    stage.run_until(START + HOUR)
    situation = situation_of(stage, PLANT, {"west": keep})
    question = Question(situation, "west", model=plant_as_it_is, tick=MINUTE, until_settled=True)
    assert answer_to(question).ended == START + 13 * HOUR


def test_new_beer_is_refused_in_a_chamber_that_is_taken(site: tuple[Stage, Situation]) -> None:
    question = Question(site[1], "east", EAST, model=plant_as_it_is, tick=MINUTE)
    with pytest.raises(RehearsalRefused, match="east is in east"):
        answer_to(question)


def test_new_beer_may_wait_until_its_chamber_is_free(site: tuple[Stage, Situation]) -> None:
    later = START + 36 * HOUR
    question = Question(
        site[1], "east", EAST, model=plant_as_it_is, begins=later, tick=MINUTE, longest=26 * HOUR, until_settled=True
    )
    course = next(one for one in answer_to(question).batches if one.batch == "rehearsed")
    assert course.steps[0].began == later


def test_what_is_on_disk_is_preferred_to_what_was_said(site: tuple[Stage, Situation]) -> None:
    stage, _ = site
    exact = situation_of(stage, PLANT, {"east": EAST, "west": WEST}, on_disk=True)
    assert exact.scheduled().batches == stage.snapshots()[ServiceName.SCHEDULER].batches
    assert exact.supervised() is not None


def test_chambers_that_control_has_learnt_are_told(site: tuple[Stage, Situation]) -> None:
    exact = situation_of(site[0], PLANT, {}, on_disk=True)
    assert set(exact.learnt("east")) >= {"flow_w_k", "room_w_k"}
    question = Question(exact, "east", model=plant_as_it_is, tick=MINUTE, longest=HOUR)
    assert answer_to(question).identified == ["bath", "east", "west"]


def test_learnt_parameters_take_the_place_of_typical_ones() -> None:
    model = identified(FridgeModel(), {"cooling_w": 4.0, "wall_j_k": 9.0})
    assert isinstance(model, FridgeModel)
    assert model.compressor.cooling_w == pytest.approx(54.6, abs=0.1)
    assert model.wall_j_k == pytest.approx(8103, abs=1)
    assert model.vessel_w_k == pytest.approx(FridgeModel().vessel_w_k)


@pytest.mark.parametrize("at_5_w", [60.0, 150.0, 300.0])
def test_bath_is_chilled_as_strongly_as_was_learnt(at_5_w: float) -> None:
    model = chilled(ReservoirModel(start_c=5.0), at_5_w, room_c=18.0)
    physics = Physics({"bath": model}, constant(18.0), seed=1)
    bath = physics.chambers["bath"]
    assert isinstance(bath, Bath)
    for _ in range(180):
        bath.bath_c = 5.0
        physics.advance(10.0, {("bath", "chill"): 1.0})
    fell_k = 5.0 - bath.bath_c
    assert fell_k * 40.0 * 1.02 * 3850.0 / 10.0 == pytest.approx(at_5_w, rel=0.12)


class Warming:
    """A plant of the test's own: each beer warms by 1 K an hour, whatever is done."""

    def __init__(self, situation: Situation) -> None:
        self.chambers = tuple(situation.plant.chambers)
        self.warm_c = 10.0

    def advance(self, seconds: float, outputs: Mapping[tuple[str, str], float]) -> Mapping[tuple[str, str], float]:
        """See `PlantModel`."""
        self.warm_c += seconds / 3600.0
        return {(name, "bath" if name == "bath" else "beer"): self.warm_c for name in self.chambers}


def test_model_of_somebody_else_is_played_instead_of_ours() -> None:
    hold = programme("name: a, hold: 5 degC, for: 4 h")
    answer = answer_to(Question(Situation(PLANT, START), "east", hold, model=Warming, tick=MINUTE))
    assert answer.finished
    assert answer.curve[-1].beer_c == pytest.approx(14.0, abs=0.2)
    assert answer.kwh_of["bath"] > 0


def test_model_is_found_by_module_and_factory() -> None:
    assert factory_named("services.rehearsal.identified:plant_as_it_is") is plant_as_it_is


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nowhere", "module:factory|cellar.model:build"),
        ("nowhere.at.all:make", "No module"),
        ("services.rehearsal.identified:nothing", "nothing"),
        ("services.rehearsal.identified:_LEAK_SHARE", "cannot be called"),
    ],
)
def test_model_that_cannot_be_had_is_refused_with_what_would_be_right(name: str, words: str) -> None:
    with pytest.raises(NoSuchModel, match=words):
        factory_named(name)


def test_thing_that_cannot_advance_is_no_model() -> None:
    with pytest.raises(NoSuchModel, match="advance"):
        built(lambda situation: 3, Situation(PLANT, START))  # type: ignore[arg-type,return-value]


def test_state_folder_without_files_says_nothing(tmp_path) -> None:
    assert kept_by(tmp_path, ServiceName.SCHEDULER, SchedulerState) is None


def test_state_on_disk_is_read_and_left_where_it_is(tmp_path) -> None:
    path = tmp_path / "scheduler.json"
    StateFile(path, Saved).save(Saved(snapshot=SchedulerState(resting={"east": 4.0}).model_dump(mode="json")))
    before = path.read_bytes()
    found = kept_by(tmp_path, ServiceName.SCHEDULER, SchedulerState)
    assert found is not None
    assert found.resting == {"east": 4.0}
    assert path.read_bytes() == before


def test_broken_state_on_disk_is_not_moved_away(tmp_path) -> None:
    (tmp_path / "scheduler.json").write_text("{")
    assert kept_by(tmp_path, ServiceName.SCHEDULER, SchedulerState) is None
    assert (tmp_path / "scheduler.json").exists()
