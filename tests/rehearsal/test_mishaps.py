"""What goes wrong in a rehearsal is drawn from a seed, within bounds that are stated."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.base import ServiceName
from schemas.plant import Drive
from schemas.plant_file import load
from services.rehearsal.ensemble import Ensemble, Tally, guard_words, on_stage
from services.rehearsal.faults import RAW_AND_READINGS, Outage, draw_outages, play, rough_bus

START = datetime(2026, 11, 2, 6, tzinfo=UTC)
SPAN = timedelta(hours=2)
CAST = (ServiceName.BRIDGE, ServiceName.SUPERVISOR)
BARN = load(Path("services/simulator/barn.yaml"))


def drawn(seed: int, count: int = 20) -> tuple[Outage, ...]:
    return draw_outages(Random(seed), CAST, START, SPAN, count)


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_outages_are_of_the_cast_within_the_span_and_in_order(seed: int) -> None:
    outages = drawn(seed)
    assert [one.begins for one in outages] == sorted(one.begins for one in outages)
    assert all(one.service in CAST and START <= one.begins < START + SPAN for one in outages)
    assert all(timedelta(seconds=5) <= one.lasts <= timedelta(minutes=15) for one in outages)


def test_same_seed_draws_the_same_outages() -> None:
    assert drawn(7) == drawn(7)
    assert drawn(7) != drawn(8)


def test_about_one_outage_in_ten_forgets_everything() -> None:
    share = sum(one.forgetful for one in drawn(1, 2000)) / 2000
    assert 0.07 < share < 0.13


def test_no_outages_can_be_asked_for() -> None:
    assert drawn(1, 0) == ()


def test_rough_bus_spares_requests_and_the_journal() -> None:
    bus = rough_bus(Random(1))
    assert bus.filters == RAW_AND_READINGS
    assert bus.strike("coldside/barn/reading/ale/beer")
    assert not bus.strike("coldside/barn/request/scheduler/hold-batch")
    assert not bus.strike("coldside/barn/journal/scheduler")


def test_rough_bus_loses_about_one_delivery_in_fifty() -> None:
    bus = rough_bus(Random(1))
    lost = sum(bus.copies() == 0 for _ in range(10_000))
    assert 150 < lost < 250


def test_delivery_is_never_later_than_the_longest_delay() -> None:
    bus = rough_bus(Random(1))
    delays = [late for _ in range(10_000) if (late := bus.held_back()) is not None]
    assert delays
    assert all(timedelta(0) <= late <= bus.longest_delay for late in delays)


def test_everybody_is_back_at_the_end_of_a_rehearsal_with_outages() -> None:
    stage, _ = on_stage(BARN, START, tick=timedelta(minutes=1))
    gone = Outage(ServiceName.RECORDER, START + timedelta(minutes=1), timedelta(hours=5))
    play(stage, [gone], START + timedelta(minutes=3))
    assert all(stage.alive(name) for name in stage.members)


def test_second_outage_of_the_absent_does_not_bring_them_back_early() -> None:
    stage, _ = on_stage(BARN, START, tick=timedelta(minutes=1))
    alive: list[bool] = []
    stage.on_tick.append(lambda _now: alive.append(stage.alive(ServiceName.RECORDER)))
    long = Outage(ServiceName.RECORDER, START + timedelta(minutes=1), timedelta(minutes=3))
    short = Outage(ServiceName.RECORDER, START + timedelta(minutes=2), timedelta(seconds=5))
    play(stage, [long, short], START + timedelta(minutes=5))
    assert alive == [False, False, False, True, True]


def test_dead_bridges_guards_switch_off_all_but_the_fans() -> None:
    words = {one.topic: one.body for one in guard_words(BARN)}
    outputs = [one for chamber in BARN.chambers.values() for one in chamber.outputs.values()]
    assert set(words.values()) == {b"0"}
    assert len(words) == sum(one.drives is not Drive.FAN for one in outputs)


def test_lease_outlives_several_ticks_however_coarse_they_are() -> None:
    leases = [Ensemble(BARN, tick=timedelta(seconds=s)).lease_s for s in (1, 10, 60)]
    assert leases == [60.0, 60.0, 360.0]


def test_history_that_nobody_will_read_is_only_counted() -> None:
    tally = Tally()
    stage, _ = on_stage(BARN, START, tick=timedelta(minutes=1), sink=tally)
    stage.run_until(START + timedelta(minutes=5))
    assert tally.samples > 50
