"""A rehearsal that a person asks for: how long they wait, and whether it agrees with services on a real broker."""

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from math import sqrt
from pathlib import Path
from time import perf_counter

from benchmarks.rows import Row, at_most
from benchmarks.scaled_site import scaled_site
from schemas.base import Message, ServiceName
from schemas.plant import Plant
from schemas.plant_file import load
from schemas.requests import StartBatch
from services.rehearsal.ensemble import on_stage
from services.rehearsal.identified import plant_as_it_is
from services.rehearsal.past import barn_batches, start_request
from services.rehearsal.performance import Performance, Question
from services.rehearsal.situation import Situation
from services.rehearsal.whatif import answer_to
from services.scheduler.core import SchedulerState
from services.scheduler.profile_file import loads
from services.supervisor.memory import SupervisorState

NAME = "whatif"
BARN = Path("services/simulator/barn.yaml")
START = datetime(2026, 11, 2, 6, tzinfo=UTC)
COARSE = timedelta(minutes=1)
WEEKS = timedelta(weeks=3)
ROUNDS = 2
SPAN = timedelta(hours=6)
BEGINS = timedelta(minutes=15)
LOOK_EVERY = timedelta(minutes=10)
SCENARIO = {
    "ale-fridge": "hold: 18 degC, for: 2 h|to: 14 degC, over: 2 h|hold: 14 degC",
    "lager-fridge": "hold: 12 degC, for: 3 h|hold: 9 degC, for: 3 h|hold: 9 degC",
    "conical": "hold: 18 degC, for: 1 h|hold: 12 degC, for: 5 h|hold: 12 degC",
}


def run() -> Iterable[Row]:
    """Waiting: the best of two rounds, since on a busy machine only the best tells of the program."""
    seconds = min(_seconds(seed) for seed in range(ROUNDS))
    yield at_most(NAME, "three_weeks_four_chambers_s", seconds, "s", 60.0)
    rehearsed, lived = _rehearsed(), _lived()
    errors = [one - other for name in SCENARIO for one, other in zip(rehearsed[name], lived[name], strict=True)]
    yield at_most(NAME, "rehearsal_vs_broker_rms_k", sqrt(sum(e * e for e in errors) / len(errors)), "K", 0.2)


def _seconds(seed: int) -> float:
    """The barn without its keg fridge, as it is a day after its beers were put in, followed for three weeks."""
    plant = load(BARN)
    chambers = {name: one for name, one in plant.chambers.items() if name != "keg-fridge"}
    plant = plant.model_copy(update={"chambers": chambers})
    situation = _after_a_day(plant, seed)
    question = Question(situation, "ale-fridge", longest=WEEKS, tick=COARSE, model=plant_as_it_is)
    began = perf_counter()
    answer = answer_to(question)
    if answer.ended is None or answer.ended - situation.now < WEEKS:
        raise RuntimeError(f"it was followed until {answer.ended} only")
    return perf_counter() - began


def _after_a_day(plant: Plant, seed: int) -> Situation:
    stage, _ = on_stage(plant, START, seed=seed, tick=COARSE)
    batches = [one for one in barn_batches() if one.chamber in plant.chambers]
    stage.ask(*(start_request(plant, one, stage.now) for one in batches))
    stage.run_until(START + timedelta(days=1))
    said = tuple(one.body for one in stage.bus.retained.values() if isinstance(one.body, Message))
    kept = stage.snapshots()
    return Situation(
        plant,
        stage.now,
        said,
        {one.batch: one.profile for one in batches},
        scheduler=SchedulerState.model_validate(kept[ServiceName.SCHEDULER]),
        supervisor=SupervisorState.model_validate(kept[ServiceName.SUPERVISOR]),
        seed=seed,
    )


def _rehearsed() -> dict[str, list[float]]:
    """As sampled for a person: once a minute."""
    played = Performance(Question(Situation(load(BARN), START), "ale-fridge", tick=COARSE), START, {})
    for request in _requests():
        played.ask(request)
    while played.stage.now < START + SPAN:
        played.step()
    return {name: [one.beer_c for one in played.curves[name]] for name in SCENARIO}


def _lived() -> dict[str, list[float]]:
    """Over the embedded broker, in scaled time; every service acts each five seconds of it."""
    curves: dict[str, list[float]] = {name: [] for name in SCENARIO}
    with scaled_site(load(BARN), START, seed=1) as site:
        site.run_until(START + BEGINS / 2)
        for request in _requests():
            site.ask(request)
        moment = START
        while moment < START + SPAN:
            moment += LOOK_EVERY
            site.run_until(moment)
            for name, curve in curves.items():
                curve.append(site.simulator.physics.truth(name).beer_c)
    return curves


def _requests() -> Iterator[StartBatch]:
    for chamber, steps in SCENARIO.items():
        written = "".join(f"  - {{name: step {n}, {step}}}\n" for n, step in enumerate(steps.split("|")))
        yield StartBatch(
            at=START, source="bench", id=chamber, client="bench", who="bench", batch=chamber, chamber=chamber,
            profile=loads(f"profile: scenario\nsteps:\n{written}"), begins=START + BEGINS,
        )  # fmt: skip
