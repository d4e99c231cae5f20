"""The mirror of the bus: newest wins, nothing counts twice, what is gone from the plant file is forgotten."""

from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest

from schemas.base import Message
from schemas.journal import JournalEntry
from schemas.plant_file import load, loads
from schemas.requests import Accepted
from schemas.telemetry import Quality, TemperatureReading
from services.commands.running import barn_file
from services.console.live import JOURNAL_KEPT, Change, Live
from services.rehearsal.ensemble import on_stage

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
LATER = NOW + timedelta(hours=1)
PLANT = load(barn_file())
LESS = """
site: {name: barn}
chambers: {conical: {kind: fridge, probes: {beer: {measures: temperature, from: {simulated: true}}}}}
"""


def reading(value: float, at: datetime = NOW, chamber: str = "bath") -> TemperatureReading:
    return TemperatureReading(
        at=at, source="bridge", chamber=chamber, probe="bath", quality=Quality.GOOD, temperature_c=value
    )


def entry(number: int) -> JournalEntry:
    return JournalEntry(at=NOW, source="scheduler", id=f"e-{number}", event="batch-held", who="ann", why="a look")


def test_a_change_names_what_changed_and_counts() -> None:
    live = Live(PLANT)
    assert live.take(reading(4.0), NOW) == Change("readings", ("bath", "bath"))
    assert (live.revision, live.taken_at) == (1, NOW)


def test_the_same_again_is_no_change() -> None:
    live = Live(PLANT)
    live.take(reading(4.0), NOW)
    assert live.take(reading(4.0), NOW) is None
    assert live.revision == 1


def test_an_older_reading_that_comes_late_changes_nothing() -> None:
    live = Live(PLANT)
    live.take(reading(4.0), NOW)
    assert live.take(reading(9.0, NOW - timedelta(seconds=10)), NOW) is None
    assert live.readings["bath", "bath"].value == 4.0


def test_after_the_clock_was_set_back_what_comes_now_is_shown() -> None:
    live = Live(PLANT)
    live.take(reading(4.0, LATER), LATER)
    assert live.take(reading(5.0), NOW) is not None
    assert live.readings["bath", "bath"].value == 5.0


def test_the_journal_keeps_the_last_thousand_and_no_line_twice() -> None:
    live = Live(PLANT)
    for number in [*range(JOURNAL_KEPT + 5), JOURNAL_KEPT + 4]:
        live.take(entry(number), NOW)
    assert len(live.journal) == JOURNAL_KEPT
    assert [live.journal[0].id, live.journal[-1].id] == ["e-5", f"e-{JOURNAL_KEPT + 4}"]


def test_answers_to_requests_are_no_part_of_the_mirror() -> None:
    assert Live(PLANT).take(Accepted(at=NOW, source="scheduler", id="r"), NOW) is None


def test_a_chamber_that_left_the_plant_file_is_forgotten() -> None:
    live = Live(PLANT)
    live.take(reading(4.0), NOW)
    live.take(reading(4.0, chamber="conical"), NOW)
    assert live.follow(loads(LESS)) == Change("plant")
    assert list(live.readings) == [("conical", "bath")]


def test_a_refused_plant_file_is_told_until_a_good_one_comes() -> None:
    live = Live(PLANT)
    live.refuse_plant("line 3: no")
    assert live.plant_trouble == "line 3: no"
    live.follow(PLANT)
    assert live.plant_trouble == ""


def everything_said() -> list[Message]:
    said: list[Message] = []
    stage, _ = on_stage(PLANT, NOW, seed=5)
    stage.witnesses.append(lambda one, _: said.append(one.body) if isinstance(one.body, Message) else None)
    stage.run_until(NOW + timedelta(minutes=10))
    return said


@pytest.mark.parametrize("seed", range(5))
def test_whatever_comes_twice_or_out_of_order_the_mirror_ends_the_same(seed: int) -> None:
    said, dice = everything_said(), Random(seed)
    orderly, rough = Live(PLANT), Live(PLANT)
    for message in said:
        orderly.take(message, LATER)
    muddled = [*said, *dice.sample(said, len(said) // 3)]
    dice.shuffle(muddled)
    for message in muddled:
        rough.take(message, LATER)
    assert newest(rough) == newest(orderly)
    assert sum(map(len, newest(orderly).values())) >= 30


def newest(live: Live) -> dict[str, Any]:
    """Of two with the same time either may stand, so times are compared."""
    shelves = ("readings", "reports", "commands", "setpoints", "statuses", "conditions", "alarms", "healths")
    return {shelf: {key: one.at for key, one in getattr(live, shelf).items()} for shelf in shelves}
