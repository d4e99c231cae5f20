"""A bath is as warm as will do, cold in time, and never ice."""

from datetime import timedelta

import pytest

from services.supervisor.control import Rules, Sight, Want
from services.supervisor.reservoir import FROST_MARGIN_K, BathController
from tests.supervisor.trial import START

ASKED_C = 12.0
GLYCOL = Rules("reservoir", 40.0, coolant_freezes_at_c=-12.9)


def decision(bath_c: float, wants: tuple[Want, ...] = (), on: bool = False, rules: Rules = GLYCOL) -> float:
    return BathController(rules).decide(Sight(START, ASKED_C, beer_c=bath_c, cooling_on=on, wants=wants)).cool


def test_idle_bath_is_left_warm() -> None:
    assert decision(11.0) == 0.0


def test_bath_is_held_where_a_person_asked_for_it() -> None:
    asked = Sight(START, -4.0, beer_c=-1.0)
    assert BathController(GLYCOL).decide(asked).cool == 1.0


def test_bath_is_chilled_for_who_wants_it_now() -> None:
    assert decision(11.0, (Want(2.0, START, 0.3),)) == 1.0


def test_coldest_want_counts() -> None:
    assert decision(6.0, (Want(12.0, START, 0.3), Want(0.0, START, 0.3))) == 1.0


def test_want_of_tomorrow_is_not_served_today() -> None:
    assert decision(8.0, (Want(-99.0, START + timedelta(hours=30), 0.5),)) == 0.0


def test_chilling_begins_early_enough_for_a_crash() -> None:
    assert decision(8.0, (Want(-99.0, START + timedelta(minutes=30), 0.5),)) == 1.0


@pytest.mark.parametrize("freezes_at_c", [-12.9, -4.0, 0.0])
def test_chilling_ends_before_the_coolant_freezes(freezes_at_c: float) -> None:
    rules = Rules("reservoir", 40.0, coolant_freezes_at_c=freezes_at_c)
    assert decision(freezes_at_c + FROST_MARGIN_K - 0.1, (Want(-99.0, START, 1.0),), True, rules) == 0.0


def test_unknown_coolant_is_taken_for_water() -> None:
    assert decision(2.0, (Want(-99.0, START, 1.0),), True, Rules("reservoir", 40.0)) == 0.0


def test_chiller_that_must_rest_is_not_asked() -> None:
    sight = Sight(START, 0.0, beer_c=11.0, ready_in_s=60.0, wants=(Want(2.0, START, 0.3),))
    assert BathController(GLYCOL).decide(sight).cool == 0.0


def test_bath_without_a_reading_is_not_chilled() -> None:
    assert BathController(GLYCOL).decide(Sight(START, 0.0)).cool == 0.0


def test_after_cooling_is_learnt_and_kept() -> None:
    controller = BathController(GLYCOL)
    reads = (
        [8.0 - 0.002 * k for k in range(600)]
        + [6.8 - 0.01 * k for k in range(80)]
        + [6.0 + 0.01 * k for k in range(80)]
    )
    for k, bath_c in enumerate(reads):
        controller.decide(Sight(START + timedelta(seconds=10 * k), 0.0, beer_c=bath_c, cooling_on=k < 600))
    kept = controller.snapshot()
    heir = BathController(GLYCOL)
    heir.restore(kept)
    assert kept["after_k"] == pytest.approx(0.45, abs=0.05)
    assert heir.snapshot() == kept
