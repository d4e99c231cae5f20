"""What the solver finds is what going through every plan finds, and keeps to what there is."""

from collections import Counter
from datetime import date, timedelta
from itertools import product
from random import Random

import pytest

from services.planner.needs import Crash, Need
from services.planner.reasons import clashing, propose
from services.planner.site import Place, Yard
from services.planner.solver import Placed, Wish, choices, solve

TODAY = date(2026, 12, 1)


def day(number: int) -> date:
    return TODAY + timedelta(days=number)


def place(name: str, volume_l: float = 20.0, free: int | None = 0, bath: str = "", **more: object) -> Place:
    free_from = None if free is None else day(free)
    return Place(name, volume_l, -1.0, 25.0, free_from, bath=bath, **more)  # type: ignore[arg-type]


def yard(*places: Place, bath_w: float = 200.0, **more: object) -> Yard:
    baths = {one.bath: bath_w for one in places if one.bath}
    return Yard(TODAY, {one.name: one for one in places}, bath_w=baths, **more)  # type: ignore[arg-type]


def wish(name: str, days: int = 3, by: int | None = None, volume_l: float = 20.0, crash: int | None = None,
         load_w: float = 150.0, **more: object) -> Wish:  # fmt: skip
    crashes = () if crash is None else (Crash(range(crash, crash + 1), load_w),)
    need = Need(days, 2.0, 18.0, crashes)
    return Wish(name, need, volume_l, None if by is None else day(by), **more)  # type: ignore[arg-type]


def keeps_to_capacity(where: Yard, wishes: list[Wish], plan: list[Placed]) -> bool:
    by_name = {one.name: one for one in wishes}
    held = Counter((one.chamber, one.begins + timedelta(days=n))
                   for one in plan for n in range(by_name[one.beer].need.days))  # fmt: skip
    loads: Counter[tuple[str, date]] = Counter()
    for one in plan:
        bath = where.places[one.chamber].bath
        for crash in by_name[one.beer].need.crashes:
            for n in crash.days if bath else ():
                loads[bath, one.begins + timedelta(days=n)] += min(crash.load_w, where.bath_w[bath])
    carried = all(
        load <= where.bath_w[bath] - where.promised_w.get((bath, at), 0.0) for (bath, at), load in loads.items()
    )
    return carried and all(count == 1 for count in held.values())


def best_by_going_through_all(where: Yard, wishes: list[Wish]) -> int | None:
    """Days until ready, summed; None when no plan keeps every wish."""
    sums = [
        sum((one.ready - TODAY).days for one in plan)
        for plan in product(*(choices(where, one) for one in wishes))
        if keeps_to_capacity(where, wishes, list(plan))
    ]
    return min(sums, default=None)


def drawn(random: Random) -> tuple[Yard, list[Wish]]:
    places = [
        place(name, random.choice((20.0, 40.0)), random.randrange(3), random.choice(("", "bath")))
        for name in ("east", "west")
    ]
    wishes = [
        wish(
            name,
            days=random.randrange(1, 4),
            by=random.randrange(3, 8),
            volume_l=random.choice((20.0, 20.0, 40.0)),
            crash=random.choice((None, 0)),
            load_w=random.choice((80.0, 150.0)),
        )
        for name in ("ale", "bock", "cider")
    ]
    return yard(*places, promised_w={("bath", day(2)): 100.0}), wishes


@pytest.mark.parametrize("seed", range(40))
def test_plan_is_as_good_as_the_best_of_all_plans(seed: int) -> None:
    where, wishes = drawn(Random(seed))
    found, best = solve(where, wishes), best_by_going_through_all(where, wishes)
    if best is None:
        assert found is None
        return
    assert found is not None
    assert sum((one.ready - TODAY).days for one in found) == best
    assert keeps_to_capacity(where, wishes, found)


def test_small_cases_have_both_some_that_can_and_some_that_cannot_be_planned() -> None:
    possible = Counter(solve(*drawn(Random(seed))) is not None for seed in range(40))
    assert possible[True] >= 8
    assert possible[False] >= 8


def test_two_beers_in_one_chamber_follow_each_other() -> None:
    plan = solve(yard(place("east")), [wish("ale"), wish("bock")])
    assert plan is not None
    assert sorted((one.begins, one.ready) for one in plan) == [(day(0), day(3)), (day(3), day(6))]


def test_beer_waits_until_its_chamber_is_free() -> None:
    plan = solve(yard(place("east", free=5)), [wish("ale")])
    assert plan == [Placed("ale", "east", day(5), day(8))]


def test_crashes_on_one_bath_are_put_on_different_days() -> None:
    wishes = [wish("ale", crash=2), wish("bock", crash=2)]
    plan = solve(yard(place("east", bath="bath"), place("west", bath="bath")), wishes)
    assert plan is not None
    assert {one.begins for one in plan} == {day(0), day(1)}


def test_bath_that_can_carry_both_is_let_to() -> None:
    wishes = [wish("ale", crash=2), wish("bock", crash=2)]
    plan = solve(yard(place("east", bath="bath"), place("west", bath="bath"), bath_w=300.0), wishes)
    assert plan is not None
    assert {one.begins for one in plan} == {day(0)}


def test_crash_that_is_more_than_a_bath_can_carry_at_once_has_it_alone() -> None:
    plan = solve(yard(place("east", bath="bath"), bath_w=50.0), [wish("ale", crash=2)])
    assert plan is not None


def test_circuit_carries_no_more_compressors_than_it_can() -> None:
    places = [place(name, circuit="ring", power_w=600.0) for name in ("east", "west")]
    wishes = [wish("ale", crash=2), wish("bock", crash=2)]
    plan = solve(yard(*places, circuit_w={"ring": 1000.0}), wishes)
    assert plan is not None
    assert len({one.begins for one in plan}) == 2


def test_running_batch_has_its_bath_on_the_day_it_chills() -> None:
    where = yard(place("east", bath="bath"), promised_w={("bath", day(2)): 180.0})
    plan = solve(where, [wish("ale", crash=2)])
    assert plan is not None
    assert plan[0].begins == day(1)


def test_nothing_is_planned_where_nothing_is_wished() -> None:
    assert solve(yard(place("east")), []) == []


def test_wish_that_nothing_fits_says_why_chamber_by_chamber() -> None:
    where = yard(
        place("east", 10.0), place("west", free=None, taken_by="stout"), place("north", free=9, taken_by="ale")
    )
    proposal = propose(where, [wish("bock", by=5)])
    (reason,) = proposal.reasons
    assert "bock cannot be ready by 06 Dec 2026" in reason
    assert "east holds 10 L, not 20 L" in reason
    assert "nobody can say when stout leaves west" in reason
    assert "north is taken by ale until 10 Dec, so north has it ready on 13 Dec 2026 at the earliest" in reason


def test_wishes_that_clash_are_named_and_the_others_are_not() -> None:
    where = yard(place("east"), place("west", 40.0))
    wanted = {"ale": "east", "bock": "east", "porter": "west"}
    wishes = [wish(name, by=4, chambers=(chamber,)) for name, chamber in wanted.items()]
    proposal = propose(where, wishes)
    assert proposal.clash == ("ale", "bock")
    assert "ale and bock cannot all be kept" in proposal.reasons[0]
    assert {one.beer for one in proposal.placed} == {"ale", "bock", "porter"}


def test_without_any_one_of_those_that_clash_the_others_can_be_kept() -> None:
    where = yard(place("east"))
    wishes = [wish("ale", by=3), wish("bock", by=6), wish("porter", by=6)]
    clash = clashing(where, wishes)
    assert solve(where, clash) is None
    assert all(solve(where, [one for one in clash if one is not left]) is not None for left in clash)


def test_shared_cold_is_named_where_it_is_what_is_missing() -> None:
    where = yard(place("east", bath="bath"), place("west", bath="bath"))
    proposal = propose(where, [wish("ale", by=3, crash=2), wish("bock", by=3, crash=2)])
    assert "bath cannot carry their crashes" in proposal.reasons[0]


def test_beer_that_fits_nowhere_does_not_keep_the_others_from_being_planned() -> None:
    proposal = propose(yard(place("east")), [wish("ale"), wish("vat", volume_l=500.0)])
    assert [one.beer for one in proposal.placed] == ["ale"]
    assert "vat fits nowhere" in proposal.reasons[0]
