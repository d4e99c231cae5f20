"""What a rehearsal answers, and the past that it can give a barn."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from schemas.plant_file import load
from schemas.profiles import Profile
from schemas.requests import StartBatch
from services.recorder.rows import Annotation, Sample, Series
from services.rehearsal.answer import Answer
from services.rehearsal.past import Gathered, barn_batches, start_request
from services.rehearsal.whatif import RehearsalRefused, rehearse
from services.scheduler.profile_file import loads

START = datetime(2026, 11, 2, 6, tzinfo=UTC)
BARN = load(Path("services/simulator/barn.yaml"))
COARSE = timedelta(minutes=1)


def programme(*steps: str) -> Profile:
    return loads("profile: trial\nsteps:\n" + "".join(f"  - {{{step}}}\n" for step in steps))


def played(*steps: str, longest: timedelta = timedelta(hours=6)) -> Answer:
    return rehearse(BARN, programme(*steps), "ale-fridge", START, longest=longest, tick=COARSE)


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (Answer(frozen=0.01, fired={"a": "x"}, finished=True), "some of the beer would freeze"),
        (Answer(fired={"a": "too cold", "b": "too cold"}, alarms={"c": "y"}), "Careful: too cold"),
        (Answer(alarms={"c": "ale: late", "d": "ale: cold"}), "It would call you: ale: cold; ale: late"),
        (Answer(finished=True), "It runs as written."),
        (Answer(), "as far as it was followed"),
    ],
)
def test_verdict_tells_the_worst_first(answer: Answer, words: str) -> None:
    assert words in answer.verdict


def test_programme_is_followed_to_its_end() -> None:
    answer = played("name: a, hold: 18 degC, for: 1 h", "name: b, hold: 17 degC, for: 1 h")
    assert answer.finished
    assert [(step.name, step.ended - step.began) for step in answer.steps if step.ended] == [
        ("a", timedelta(hours=1)),
        ("b", timedelta(hours=1)),
    ]


def test_programme_without_an_end_is_followed_for_as_long_as_asked() -> None:
    answer = played("name: a, hold: 18 degC", longest=timedelta(hours=1))
    assert not answer.finished
    assert answer.curve[-1].at == START + timedelta(hours=1)
    assert answer.steps[-1].ended is None


def test_curve_has_what_was_wanted_beside_what_the_beer_was() -> None:
    curve = played("name: a, hold: 18 degC", longest=timedelta(hours=2)).curve
    assert {point.wanted_c for point in curve[1:]} == {18.0}
    assert all(-5 < point.beer_c < 30 for point in curve)


def test_progress_is_told_and_only_grows() -> None:
    shares: list[float] = []
    rehearse(BARN, programme("name: a, hold: 18 degC"), "ale-fridge", START, longest=timedelta(hours=1), tick=COARSE,
             progress=shares.append)  # fmt: skip
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


@pytest.mark.parametrize(
    ("step", "chamber", "words"),
    [("name: a, hold: 18 degC", "cellar", "cellar"), ("name: a, hold: 80 degC", "ale-fridge", "80")],
)
def test_programme_that_would_be_refused_is_refused_before_it_is_played(step: str, chamber: str, words: str) -> None:
    with pytest.raises(RehearsalRefused, match=words):
        rehearse(BARN, programme(step), chamber, START, tick=COARSE)


def test_same_question_gets_the_same_answer() -> None:
    steps = ("name: a, hold: 16 degC, for: 2 h",)
    assert played(*steps) == played(*steps)


class Shelf:
    """A sink that remembers how much came at once."""

    def __init__(self) -> None:
        self.heaps: list[tuple[int, int]] = []

    def write(self, samples: list[Sample], annotations: list[Annotation] = ()) -> None:  # type: ignore[assignment]
        self.heaps.append((len(samples), len(annotations)))


SAMPLE = Sample(Series("barn", "ale", "reading", "beer"), 0, 18.0)


def test_past_is_handed_on_in_heaps_and_the_rest_at_the_end() -> None:
    shelf = Shelf()
    gathered = Gathered(shelf, heap=3)
    for _ in range(4):
        gathered.write([SAMPLE, SAMPLE], [Annotation("a", 0, "barn", "journal", "x")])
    gathered.hand_on()
    assert shelf.heaps == [(4, 2), (4, 2), (0, 0)]


def test_batches_of_the_past_stand_in_chambers_of_the_barn_each_in_its_own() -> None:
    chambers = [one.chamber for one in barn_batches()]
    assert set(chambers) <= set(BARN.chambers)
    assert len({one.batch for one in barn_batches()}) == len(chambers)


def test_request_of_the_past_is_the_same_however_often_it_is_made() -> None:
    one = barn_batches()[0]
    first, again = (start_request(BARN, one, START) for _ in range(2))
    assert first == again
    assert isinstance(first.body, StartBatch)
    assert first.topic == "coldside/barn/request/scheduler/start-batch"
