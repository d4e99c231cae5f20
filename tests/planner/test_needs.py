"""What a programme asks of a chamber, and when a site's chambers are free."""

from datetime import UTC, date, datetime, timedelta

import pytest
from pydantic import ValidationError

from brewing.thermal import Mass, cooling_load
from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.plant_file import loads as plant_from
from services.planner.needs import need_of
from services.planner.site import yard_of
from services.planner.wishes import Wishes
from services.scheduler.profile_file import find_profile, loads

NOON = datetime(2026, 12, 1, 12, tzinfo=UTC)
DAY = timedelta(days=1)
PLANT = plant_from("""
site: {name: cellar, timezone: Europe/Dublin}
circuits: {ring: {voltage: 230 V, limit: 10 A}}
chambers:
  bath:
    kind: reservoir
    probes: {bath: {measures: temperature, from: {simulated: true}}}
    outputs: {chill: {drives: compressor, to: {simulated: true}, power: 300 W, circuit: ring}}
  conical:
    kind: jacketed
    cooled_by: bath
    contents: {volume: 50 L}
    probes: {beer: {measures: temperature, from: {simulated: true}}}
    outputs: {pump: {drives: pump, to: {simulated: true}}}
  fridge:
    kind: fridge
    contents: {volume: 20 L}
    probes: {beer: {measures: temperature, from: {simulated: true}}}
    outputs: {cool: {drives: compressor, to: {simulated: true}, power: 110 W, circuit: ring}}
""")


def need(*steps: str, takes_s: float | None = None):
    return need_of(loads("profile: p\nsteps:\n" + "".join(f"  - {{{one}}}\n" for one in steps)), 20.0, takes_s)


def test_days_of_steps_add_up_and_serving_does_not_count() -> None:
    found = need("name: a, hold: 18 degC, for: 5 d", "name: b, to: 2 degC, over: 36 h", "name: c, hold: 2 degC")
    assert found.days == 7
    assert (found.lowest_c, found.highest_c) == (2.0, 18.0)


def test_ramp_by_rate_takes_what_its_way_takes() -> None:
    assert need("name: a, hold: 20 degC, for: 1 d", "name: b, to: 8 degC, rate: 0.25 K/h").days == 3


def test_step_that_ends_by_gravity_keeps_within_its_earliest_and_latest() -> None:
    base = "name: a, hold: 18 degC, ends: {attenuation_at_least: 60 %}"
    assert need(base).days == 6
    assert need(f"{base}, latest: 4 d").days == 4
    assert need(f"{base}, earliest: 9 d").days == 9


def test_any_of_several_triggers_is_reckoned_with_the_soonest() -> None:
    assert need("name: a, hold: 18 degC, ends: {any: [{elapsed: 2 d}, {elapsed: 5 d}]}").days == 2
    assert need("name: a, hold: 18 degC, ends: {all: [{elapsed: 2 d}, {elapsed: 5 d}]}").days == 5


def test_what_somebody_knows_better_counts() -> None:
    found = need("name: a, hold: 18 degC, for: 5 d", "name: b, hold: 2 degC, for: 5 d", takes_s=20 * 86400.0)
    assert found.days == 20
    assert found.crashes[0].days == range(10, 11)


def test_crash_takes_the_heat_out_that_the_trades_arithmetic_says() -> None:
    (crash,) = need("name: a, hold: 18 degC, for: 3 d", "name: b, to: 2 degC, over: 48 h").crashes
    assert crash.days == range(3, 5)
    assert crash.load_w == pytest.approx(cooling_load(Mass(20.9), 18.0, 2.0, 48 * 3600.0))


@pytest.mark.parametrize("name", ["ale", "lager", "wheat", "saison", "weekend-crash", "warm-lager", "serving"])
def test_every_profile_that_comes_along_can_be_planned(name: str) -> None:
    assert 1 <= need_of(find_profile(name), 20.0).days <= 90


def running(chamber: str, ends: datetime | None, latest: datetime | None = None) -> BatchState:
    step = PlannedStep(
        name="cold", does="hold", from_c=18.0, to_c=2.0, begins=NOON + DAY, ends=ends, ends_latest=latest
    )
    return BatchState(at=NOON, source="scheduler", batch="41", title="41", chamber=chamber, profile="p",
                      phase=BatchPhase.RUNNING, started=NOON, step=0, step_began=NOON, steps=(step,))  # fmt: skip


def test_chamber_is_free_the_day_after_its_batch_has_ended_at_the_latest() -> None:
    yard = yard_of(PLANT, [running("fridge", NOON + 3 * DAY, NOON + 5 * DAY)], NOON.date())
    assert yard.places["fridge"].free_from == date(2026, 12, 7)
    assert yard.places["conical"].free_from == NOON.date()


def test_nobody_can_say_when_a_beer_on_tap_leaves_unless_somebody_does() -> None:
    assert yard_of(PLANT, [running("fridge", None)], NOON.date()).places["fridge"].free_from is None
    told = yard_of(PLANT, [running("fridge", None)], NOON.date(), {"fridge": date(2026, 12, 20)})
    assert told.places["fridge"].free_from == date(2026, 12, 20)


def test_running_batch_takes_of_its_bath_on_the_days_on_which_it_chills() -> None:
    yard = yard_of(PLANT, [running("conical", NOON + 3 * DAY)], NOON.date())
    days = {at for _, at in yard.promised_w}
    assert days == {date(2026, 12, 2), date(2026, 12, 3)}
    assert yard.bath_w["bath"] == pytest.approx(270.0)


def test_reservoir_is_no_place_for_a_beer() -> None:
    assert set(yard_of(PLANT, [], NOON.date()).places) == {"conical", "fridge"}


@pytest.mark.parametrize(
    "beer",
    [
        {"profile": "ale", "volume": "0 L"},
        {"volume": "20 L"},
        {"profile": "ale", "volume": "20 L", "ready_by": "2026-12-01", "not_before": "2026-12-05"},
        {"profile": "ale", "volume": "20 L", "takes": "400 d"},
    ],
)
def test_wish_that_makes_no_sense_is_refused(beer: dict[str, str]) -> None:
    with pytest.raises(ValidationError):
        Wishes.model_validate({"beers": {"a": beer}})
