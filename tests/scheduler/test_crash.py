"""When a beer that is chilled will be there: foretold with an interval, learnt from, scored afterwards."""

from datetime import timedelta

import pytest

from brewing.thermal import Mass, temperature_after, time_to_reach
from services.scheduler.cooling import BEER_WH_L_K, Cooling, first_guess, look
from services.scheduler.crash import NEAR_K
from tests.scheduler.bench import MONDAY, PLANT, Bench, profile

HOUR = timedelta(hours=1)
CRASH = ("name: ferment, hold: 18 degC, for: 2 h", "name: crash, hold: 2 degC, for: 3 d", "name: rest, hold: 2 degC")


def chilled(bench: Bench, hours: float, tau_h: float = 8.0, floor_c: float = -6.0) -> None:
    """The beer falls as Newton's law of cooling has it, from 18 degC on."""
    began = bench.now

    def tell() -> None:
        seconds = (bench.now - began).total_seconds()
        bench.see_beer(max(2.0, temperature_after(seconds, 18.0, floor_c, tau_h * 3600.0)))

    bench.period = timedelta(minutes=5)
    bench.run(timedelta(hours=hours), hook=tell)


def crashing(bench: Bench) -> None:
    bench.start(profile(*CRASH))
    bench.run(2 * HOUR)


def test_arrival_of_a_step_to_come_is_foretold_with_an_interval() -> None:
    bench = Bench()
    bench.start(profile(*CRASH))
    crash = bench.batch().steps[1]
    assert crash.begins is not None
    assert crash.begins < crash.arrives_earliest < crash.arrives < crash.arrives_latest


def test_step_that_does_not_chill_says_nothing_of_an_arrival() -> None:
    bench = Bench()
    bench.start(profile(*CRASH))
    assert bench.batch().steps[0].arrives is None
    assert bench.batch().steps[2].arrives is None


def test_forecast_agrees_with_the_law_of_cooling_once_some_hours_have_been_seen() -> None:
    bench = Bench()
    crashing(bench)
    began = bench.now
    chilled(bench, 4)
    truth = began + timedelta(seconds=time_to_reach(2.0 + NEAR_K, 18.0, -6.0, 8.0 * 3600.0))
    crash = bench.batch().steps[1]
    assert abs(crash.arrives - truth) <= 0.1 * (truth - began)
    assert crash.arrives_earliest <= truth <= crash.arrives_latest


def test_interval_narrows_as_the_crash_goes_on() -> None:
    bench = Bench()
    crashing(bench)
    before = bench.batch().steps[1]
    chilled(bench, 4)
    after = bench.batch().steps[1]
    assert after.arrives_latest - after.arrives_earliest < (before.arrives_latest - before.arrives_earliest) / 2


def test_arrival_is_journalled_and_its_forecasts_scored() -> None:
    bench = Bench()
    crashing(bench)
    chilled(bench, 12)
    told = next(one for one in bench.journal if one.event == "beer-arrived")
    assert told.facts["made"] >= 2
    assert bench.batch().forecasts_held is not None
    assert bench.batch().steps[1].arrives_earliest is None
    assert abs(bench.batch().steps[1].arrives - (MONDAY + 2 * HOUR + told.facts["hours"] * HOUR)) <= timedelta(
        minutes=5
    )


def test_arrival_is_told_once_also_across_a_restart() -> None:
    bench = Bench()
    crashing(bench)
    chilled(bench, 12)
    bench.restart()
    bench.see_beer(2.0)
    assert bench.events.count("beer-arrived") == 1


def test_next_crash_of_a_chamber_is_foretold_from_the_last_one() -> None:
    bench = Bench()
    crashing(bench)
    chilled(bench, 12)
    learnt = bench.scheduler.snapshot().cooling[0].cooling
    bench.restart()
    kept = bench.scheduler.snapshot().cooling[0].cooling
    assert kept == learnt
    assert learnt.windows >= 5


def test_beer_that_is_in_the_next_step_already_still_arrives() -> None:
    bench = Bench()
    bench.start(profile(CRASH[0], "name: crash, to: 2 degC, over: 1 h", CRASH[2]))
    bench.run(2 * HOUR)
    chilled(bench, 12)
    assert bench.batch().steps[1].done
    assert bench.batch().steps[1].arrives > bench.batch().steps[1].ends
    assert "beer-arrived" in bench.events


def test_ramp_that_the_chamber_follows_ends_when_its_setpoint_does() -> None:
    bench = Bench()
    bench.start(profile(CRASH[0], "name: crash, to: 2 degC, over: 3 d", CRASH[2]))
    crash = bench.batch().steps[1]
    assert abs(crash.arrives - crash.ends) < timedelta(hours=4)


def test_chamber_that_can_never_get_there_has_no_likely_arrival() -> None:
    bench = Bench()
    crashing(bench)
    chilled(bench, 30, tau_h=6.0, floor_c=9.0)
    assert bench.batch().steps[1].arrives is None


def test_rate_is_learnt_from_windows_in_which_the_beer_is_behind() -> None:
    known = Cooling(at_8=1.0, slope=0.05, var_at_8=0.16, var_slope=0.001)
    window, at = None, MONDAY + HOUR
    for _ in range(4):
        known, window = look(known, window, MONDAY, 10.0 - 2.0 * ((at - MONDAY) / HOUR), 2.0, at)
        at += timedelta(minutes=40)
    assert known.windows == 3
    assert known.rate(6.0) == pytest.approx(2.0, abs=0.2)


def test_beer_that_keeps_up_with_its_ramp_does_not_show_what_the_chamber_can() -> None:
    known = Cooling(at_8=2.0, slope=0.05, var_at_8=0.16, var_slope=0.001)
    window, at = None, MONDAY + HOUR
    for _ in range(4):
        wanted_c = 16.0 - 0.5 * ((at - MONDAY) / HOUR)
        known, window = look(known, window, MONDAY, wanted_c + 0.6, wanted_c, at)
        at += timedelta(minutes=40)
    assert known.windows == 0


def test_first_guess_follows_power_and_volume() -> None:
    fridge = PLANT.chambers["ale-fridge"]
    larger = fridge.model_copy(update={"contents": fridge.contents.model_copy(update={"volume_l": 40.0})})
    assert first_guess(PLANT, fridge).at_8 == pytest.approx(2 * first_guess(PLANT, larger).at_8)


def test_heat_capacity_of_beer_is_that_of_the_trades_arithmetic() -> None:
    assert pytest.approx(Mass(1.045, 4050.0).capacity, rel=0.01) == BEER_WH_L_K * 3600
