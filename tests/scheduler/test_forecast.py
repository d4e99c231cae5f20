"""What is foreseen of gravity, and how it is told, kept and scored."""

from datetime import datetime, timedelta
from functools import cache
from random import Random

import pytest

from brewing import gravity
from brewing.attenuation import logistic_extract
from brewing.kinetics import Programme
from schemas.ends import GravityStable, Stability
from schemas.requests import LogGravity
from services.scheduler.core import Scheduler
from services.scheduler.forecast import Foreseen, foresee
from services.scheduler.foresight import Foresight, Scores, together
from services.scheduler.gravity_facts import GravityFacts
from services.scheduler.gravity_log import GravityLog, GravityPoint
from tests.scheduler.bench import MONDAY, PLANT, Bench, days, hours, profile

RESTS = GravityStable(gravity_stable=Stability(within_sg=0.001, over_s=48 * 3600.0))
ORIGINAL = 1.050


def true_gravity(day: float) -> float:
    """ASBC Yeast-14's logistic shape: 1.050 to 1.011, half way after two days."""
    return gravity.specific_gravity(logistic_extract(gravity.plato(ORIGINAL), gravity.plato(1.011), 1.6, 2.0, day))


@cache
def foreseen(until_day: float, seed: int = 1) -> Foreseen:
    """After readings each four hours, with an instrument's noise."""
    random = Random(seed)
    points = tuple(
        GravityPoint(at=MONDAY + hours(h), sg=true_gravity(h / 24) + random.gauss(0, 0.0008), sd=0.0008, by="float")
        for h in range(2, int(until_day * 24), 4)
    )
    found = foresee(GravityFacts(GravityLog(points=points), ORIGINAL), MONDAY, Programme.steady(19), 82)
    assert found is not None
    return found


def day_of(moment: datetime | None) -> float:
    assert moment is not None
    return (moment - MONDAY) / timedelta(days=1)


def test_moment_of_a_gravity_to_come_is_foreseen_within_half_a_day() -> None:
    truth = next(n / 24 for n in range(1000) if true_gravity(n / 24) <= 1.014)
    assert day_of(foreseen(2.5).at_most(1.014)) == pytest.approx(truth, abs=0.6)


def test_attenuation_and_gravity_that_are_the_same_have_the_same_moment() -> None:
    found = foreseen(2.5)
    reached = gravity.final_gravity_for(ORIGINAL, 70)
    assert found.attenuated(70) == found.at_most(reached)


def test_quantiles_lie_in_order() -> None:
    found = foreseen(2.5)
    moments = [day_of(found.at(q).stable(RESTS)) for q in (0.1, 0.5, 0.9)]
    assert moments == sorted(moments)
    assert moments[0] < moments[2]


def test_interval_narrows_with_what_is_measured() -> None:
    def width(day: float) -> float:
        return day_of(foreseen(day).at(0.9).stable(RESTS)) - day_of(foreseen(day).at(0.1).stable(RESTS))

    assert width(4.5) < width(1.5)


def test_gravity_out_of_reach_has_no_moment() -> None:
    assert foreseen(4.5).at_most(1.000) is None


def test_more_measurements_can_show_a_smaller_change() -> None:
    assert foreseen(2.5).noise_of_change(4) < foreseen(2.5).noise_of_change(1)


def test_nothing_is_foreseen_without_the_original_gravity() -> None:
    assert foresee(GravityFacts(GravityLog(), None), MONDAY, Programme.steady(19), None) is None


def farsighted() -> Bench:
    bench = Bench(period=timedelta(minutes=2))
    bench.scheduler = Scheduler(PLANT, foresight=Foresight())
    bench.hear(bench.scheduler.start(bench.now))
    steps = ("name: ferment, hold: 19 degC, ends: {gravity_at_most: 1.020}", "name: crash, to: 2 degC, over: 20 h")
    bench.start(profile(*steps, "name: serve, hold: 4 degC"), original_gravity_sg=ORIGINAL)
    return bench


def ferment(bench: Bench, upto_day: float) -> None:
    """Measured by hand every eight hours."""
    while bench.now < MONDAY + days(upto_day):
        bench.run(hours(8))
        reading = round(true_gravity((bench.now - MONDAY) / timedelta(days=1)), 4)
        bench.ask(LogGravity, batch="41-pale", hydrometer_sg=reading)


def test_plan_tells_when_later_steps_begin_and_how_sure_that_is() -> None:
    bench = farsighted()
    ferment(bench, 2)
    steps = bench.batch().steps
    assert steps[0].ends_earliest is not None
    assert steps[0].ends_latest is not None
    assert steps[0].ends_earliest < steps[0].ends < steps[0].ends_latest
    assert steps[1].ends == steps[0].ends + hours(20)
    assert steps[1].ends_latest == steps[0].ends_latest + hours(20)


def test_end_that_may_never_come_has_no_latest_time() -> None:
    assert foreseen(1.5).at(0.98).at_most(1.0115) is None


def test_forecast_alone_ends_no_step() -> None:
    bench = farsighted()
    ferment(bench, 2)
    bench.run(days(10))
    assert [name for name, _ in bench.steps_begun()] == ["ferment"]


def test_forecasts_are_kept_and_scored_when_the_step_has_ended() -> None:
    bench = farsighted()
    ferment(bench, 4)
    scored = next(one for one in bench.journal if one.event == "forecast-scored")
    assert scored.facts["made"] >= 2
    assert scored.facts["held"] >= scored.facts["made"] - 1
    assert bench.batch().forecast_width_h is not None


def test_scores_survive_a_restart() -> None:
    bench = farsighted()
    ferment(bench, 4)
    before = bench.scheduler.snapshot().scores
    bench.restart()
    assert bench.scheduler.snapshot().scores == before
    assert before.made > 0


def test_scores_of_no_forecast_say_nothing() -> None:
    assert (Scores().coverage, Scores().mean_width_h) == (None, None)


def test_scores_add_up() -> None:
    both = together(Scores(made=3, held=2, width_h=30), Scores(made=1, held=1, width_h=10))
    assert (both.coverage, both.mean_width_h) == (0.75, 10)
