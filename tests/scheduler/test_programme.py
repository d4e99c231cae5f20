"""A batch's programme is told whole, so that it can be changed from where it stands."""

from schemas.profiles import Profile
from schemas.requests import Accepted, EditSteps, FinishBatch, Refused, SkipStep, TellProgramme
from tests.scheduler.bench import Bench, profile

PROGRAMME = profile(
    "name: ferment, hold: 18 degC, ends: {any: [{gravity_at_most: 1.012}, {elapsed: 9 d}]}, latest: 10 d",
    "name: crash, to: 1 degC, over: 24 h, instruction: Close the spunding valve.",
    "name: serve, hold: 4 degC",
)


def told(bench: Bench) -> tuple[Profile, int]:
    answer = bench.ask(TellProgramme, batch="41-pale")
    assert isinstance(answer, Accepted)
    return Profile.model_validate_json(str(answer.facts["profile"])), int(answer.facts["open"])


def test_programme_is_told_as_it_was_given() -> None:
    bench = Bench()
    bench.start(PROGRAMME)
    assert told(bench) == (PROGRAMME, 0)


def test_running_step_is_the_first_that_can_be_changed() -> None:
    bench = Bench()
    bench.start(PROGRAMME)
    bench.ask(SkipStep, batch="41-pale")
    assert told(bench)[1] == 1


def test_programme_is_told_with_its_changes() -> None:
    bench = Bench()
    bench.start(PROGRAMME)
    steps = profile("name: rest, hold: 21 degC, for: 2 d", "name: serve, hold: 5 degC").steps
    bench.ask(EditSteps, batch="41-pale", first=1, steps=steps)
    assert [step.name for step in told(bench)[0].steps] == ["ferment", "rest", "serve"]


def test_nothing_of_an_ended_batch_can_be_changed() -> None:
    bench = Bench()
    bench.start(PROGRAMME)
    bench.ask(FinishBatch, batch="41-pale")
    assert told(bench)[1] == 3


def test_telling_a_programme_changes_nothing() -> None:
    bench = Bench()
    bench.start(PROGRAMME)
    before = bench.scheduler.snapshot(), len(bench.journal)
    told(bench)
    assert (bench.scheduler.snapshot(), len(bench.journal)) == before


def test_programme_of_nobody_is_refused() -> None:
    answer = Bench().ask(TellProgramme, batch="nobody")
    assert isinstance(answer, Refused)
    assert "no batch nobody" in answer.reason
