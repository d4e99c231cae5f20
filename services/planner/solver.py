"""Chamber and first day for every beer, as a mixed-integer programme that HiGHS solves.

One yes-or-no for each beer, chamber and day. A chamber holds one beer at a time; baths and circuits carry no more
crashes on a day than they can. Of all plans that keep every wish the one is taken whose beers are ready soonest.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from importlib import import_module
from typing import Any

import numpy as np

from services.planner.needs import Need
from services.planner.site import Place, Yard

HORIZON_DAYS = 120
SECONDS = 20.0


class NotSolved(RuntimeError):
    """Neither a plan nor a proof that there is none was found in time."""


@dataclass(frozen=True, slots=True)
class Wish:
    """One beer, with what its programme asks for. `ready_by` None: whenever."""

    name: str
    need: Need
    volume_l: float
    ready_by: date | None = None
    not_before: date | None = None
    chambers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Placed:
    """A beer's chamber, the day it is begun, and the day from which it is ready."""

    beer: str
    chamber: str
    begins: date
    ready: date


def suits(place: Place, wish: Wish) -> bool:
    """Whether a beer could be in a chamber at all."""
    fits = wish.volume_l <= place.volume_l and (not wish.chambers or place.name in wish.chambers)
    return fits and place.lowest_c <= wish.need.lowest_c and wish.need.highest_c <= place.highest_c


def choices(yard: Yard, wish: Wish) -> list[Placed]:
    """Every chamber and day that one beer alone could have."""
    return [one for place in yard.places.values() if suits(place, wish) for one in _days(yard, place, wish)]


def solve(yard: Yard, wishes: Sequence[Wish]) -> list[Placed] | None:
    """The plan that keeps every wish and is ready soonest; None when there is none. Raises NotSolved."""
    options = [(wish, one) for wish in wishes for one in choices(yard, wish)]
    offered = {wish.name for wish, _ in options}
    if any(wish.name not in offered for wish in wishes):
        return None
    if not wishes:
        return []
    rows = list(_rows(yard, wishes, options))
    cells = [(number, column, weight) for number, row in enumerate(rows) for column, weight in row.weights.items()]
    numbers, columns, weights = zip(*cells, strict=True)
    optimize, sparse = _library("scipy.optimize"), _library("scipy.sparse")
    matrix = sparse.csr_array((weights, (numbers, columns)), shape=(len(rows), len(options)))
    found = optimize.milp(
        c=np.array([(one.ready - yard.today).days + 1e-3 * rank for rank, (_, one) in _ranked(options)]),
        constraints=optimize.LinearConstraint(matrix, [one.least for one in rows], [one.most for one in rows]),
        integrality=np.ones(len(options)),
        bounds=(0, 1),
        options={"time_limit": SECONDS},
    )
    if found.status == 2:
        return None
    if found.status != 0:
        raise NotSolved(f"no plan was found within {SECONDS:g} s: {found.message}")
    return [one for (_, one), chosen in zip(options, found.x, strict=True) if chosen > 0.5]


def _library(name: str) -> Any:
    """Only who plans pays for it."""
    try:
        return import_module(name)
    except ModuleNotFoundError as error:
        raise NotSolved("planning needs a solver: install coldside[plan]") from error


@dataclass(frozen=True, slots=True)
class _Row:
    """A sum of choices by their weights lies between two numbers."""

    weights: Mapping[int, float]
    least: float
    most: float


Options = Sequence[tuple[Wish, Placed]]
Shared = tuple[str, str, date]
"""A bath or a circuit, its name, and a day."""
Loads = dict[Shared, dict[int, float]]


def _rows(yard: Yard, wishes: Sequence[Wish], options: Options) -> Iterator[_Row]:
    for wish in wishes:
        own = {index: 1.0 for index, (one, _) in enumerate(options) if one is wish}
        yield _Row(own, 1.0, 1.0)
    taken: dict[tuple[str, date], dict[int, float]] = {}
    for index, (wish, one) in enumerate(options):
        for offset in range(wish.need.days):
            taken.setdefault((one.chamber, one.begins + timedelta(days=offset)), {})[index] = 1.0
    yield from (_Row(row, 0.0, 1.0) for row in taken.values())
    for (kind, name, day), row in _crash_loads(yard, options).items():
        most = yard.bath_w[name] if kind == "bath" else yard.circuit_w[name]
        promised = yard.promised_w.get((name, day), 0.0) if kind == "bath" else 0.0
        left = max(0.0, most - promised)
        yield _Row({index: min(weight, most) for index, weight in row.items()}, 0.0, left)


def _crash_loads(yard: Yard, options: Options) -> Loads:
    """What each choice takes of a bath, or of a circuit, on a day on which it chills."""
    found: Loads = {}
    for index, (wish, one) in enumerate(options):
        place = yard.places[one.chamber]
        for crash in wish.need.crashes:
            for offset in crash.days:
                day = one.begins + timedelta(days=offset)
                if place.bath:
                    _add(found, ("bath", place.bath, day), index, crash.load_w)
                if place.circuit in yard.circuit_w:
                    _add(found, ("circuit", place.circuit, day), index, place.power_w)
    return found


def _add(found: Loads, key: Shared, index: int, load_w: float) -> None:
    row = found.setdefault(key, {})
    row[index] = row.get(index, 0.0) + load_w


def _ranked(options: Options) -> Iterator[tuple[int, tuple[Wish, Placed]]]:
    """Chambers in the order of the plant file: of equally good plans always the same one."""
    order = {name: rank for rank, name in enumerate(dict.fromkeys(one.chamber for _, one in options))}
    return ((order[pair[1].chamber], pair) for pair in options)


def _days(yard: Yard, place: Place, wish: Wish) -> Iterator[Placed]:
    if place.free_from is None:
        return
    day = max(yard.today, place.free_from, wish.not_before or yard.today)
    last = yard.today + timedelta(days=HORIZON_DAYS)
    while (ready := day + timedelta(days=wish.need.days)) <= min(last, wish.ready_by or last):
        yield Placed(wish.name, place.name, day, ready)
        day += timedelta(days=1)
