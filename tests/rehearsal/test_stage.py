"""The stage on which all cores play: time passes by ticks, the dead are silent, the returned know what was kept."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import pytest
from pydantic import BaseModel

from schemas.base import ServiceName
from schemas.journal import Health, Wellness
from services.rehearsal.stage import Stage
from services.runtime.service import Durability, Incoming, Outgoing

START = datetime(2026, 11, 2, 6, tzinfo=UTC)
TICK = timedelta(seconds=10)
NAME, OTHER = ServiceName.RECORDER, ServiceName.NOTIFIER


class Heard(BaseModel):
    """What a counting core remembers."""

    count: int = 0


@dataclass
class Counting:
    """A core that counts what it hears and says its count at every tick."""

    name: ServiceName = NAME
    durability: Durability = Durability.LAZILY
    count: int = 0
    listens: tuple[str, ...] = ("device/#",)
    born: list[datetime] = field(default_factory=list)

    def start(self, now: datetime) -> Iterable[Outgoing]:
        self.born.append(now)
        return ()

    def rejoin(self, now: datetime) -> Iterable[Outgoing]:
        return (Outgoing("said/born", b"1"),)

    def receive(self, incoming: Incoming, now: datetime) -> Iterable[Outgoing]:
        self.count += 1
        return ()

    def tick(self, now: datetime) -> Iterable[Outgoing]:
        return (Outgoing("said/count", str(self.count).encode()),)

    def snapshot(self) -> Heard:
        return Heard(count=self.count)


def staged(durability: Durability = Durability.LAZILY, **more) -> tuple[Stage, list[tuple[str, bytes, datetime]]]:
    """A stage with one counting core, and everything that is said from now on."""

    def build(kept: BaseModel | None) -> Counting:
        return Counting(durability=durability, count=kept.count if isinstance(kept, Heard) else 0)

    stage = Stage("barn", {NAME: build}, START, tick=TICK, **more)
    said: list[tuple[str, bytes, datetime]] = []
    stage.witnesses.append(lambda outgoing, now: said.append((outgoing.topic, outgoing.body, now)))
    return stage, said


def counts(said: list[tuple[str, bytes, datetime]]) -> list[bytes]:
    return [body for topic, body, _ in said if topic == "said/count"]


def word() -> Outgoing:
    return Outgoing("device/1", b"18.0")


def test_time_passes_tick_by_tick_up_to_the_moment() -> None:
    stage, said = staged()
    stage.run_until(START + timedelta(seconds=25))
    assert [now - START for _, _, now in said] == [TICK, 2 * TICK, 3 * TICK]


def test_moment_gone_by_lets_no_time_pass() -> None:
    stage, said = staged()
    stage.run_until(START)
    assert (stage.now, said) == (START, [])


def test_question_is_heard_before_time_passes() -> None:
    stage, said = staged()
    stage.ask(word(), word())
    stage.step()
    assert counts(said) == [b"2"]


def test_everybody_looks_on_after_each_tick() -> None:
    stage, _ = staged()
    seen: list[datetime] = []
    stage.on_tick.append(seen.append)
    stage.run_until(START + 2 * TICK)
    assert seen == [START + TICK, START + 2 * TICK]


def test_the_dead_say_nothing() -> None:
    stage, said = staged()
    stage.kill(NAME)
    stage.run_until(START + 5 * TICK)
    assert counts(said) == []
    assert not stage.alive(NAME)


def test_the_broker_publishes_the_will_of_the_dead() -> None:
    stage, _ = staged()
    stage.kill(NAME)
    will = stage.bus.retained["coldside/barn/health/recorder"].body
    assert isinstance(will, Health)
    assert will.state is Wellness.LOST


def test_last_words_follow_a_death_and_are_said_once() -> None:
    stage, said = staged(last_words={NAME: (Outgoing("relay/1", b"0"),)})
    stage.kill(NAME)
    stage.kill(NAME)
    assert [topic for topic, _, _ in said].count("relay/1") == 1


def test_killed_core_that_saves_before_effects_remembers_everything() -> None:
    stage, said = staged(Durability.BEFORE_EFFECTS)
    stage.ask(word())
    stage.kill(NAME)
    stage.revive(NAME)
    stage.step()
    assert counts(said) == [b"1"]


def test_killed_core_that_saves_lazily_remembers_what_was_last_saved() -> None:
    stage, said = staged(keep_every=TICK)
    stage.ask(word())
    stage.run_until(START + TICK)
    stage.ask(word())
    stage.kill(NAME)
    stage.revive(NAME)
    stage.step()
    assert counts(said)[-1] == b"1"


def test_what_was_said_to_the_dead_waits_for_their_return() -> None:
    stage, said = staged(Durability.BEFORE_EFFECTS)
    stage.kill(NAME)
    stage.ask(word(), word())
    stage.revive(NAME)
    stage.step()
    assert counts(said) == [b"2"]


def test_forgetful_return_knows_nothing_of_before() -> None:
    stage, said = staged(Durability.BEFORE_EFFECTS)
    stage.ask(word())
    stage.kill(NAME)
    stage.revive(NAME, forgetful=True)
    stage.step()
    assert counts(said) == [b"0"]


def test_return_of_the_living_changes_nothing() -> None:
    stage, said = staged()
    stage.ask(word())
    stage.revive(NAME)
    stage.step()
    assert counts(said) == [b"1"]


def test_set_clock_shows_another_time_and_nobody_ticks() -> None:
    stage, said = staged()
    stage.step_clock(timedelta(hours=-1))
    assert (stage.now, said) == (START - timedelta(hours=1), [])


def test_cores_go_on_from_what_an_earlier_rehearsal_kept() -> None:
    stage, said = staged(kept={NAME: Heard(count=41)})
    stage.ask(word())
    stage.step()
    assert counts(said) == [b"42"]
    assert stage.snapshots() == {NAME: Heard(count=42)}


def test_nobody_who_is_not_in_the_cast_can_be_killed() -> None:
    stage, _ = staged()
    with pytest.raises(KeyError):
        stage.kill(OTHER)
