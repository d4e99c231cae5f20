"""A plan, or in words why there is none: which wishes clash, and what would have to give."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from services.planner.needs import Need
from services.planner.site import Place, Yard
from services.planner.solver import Placed, Wish, choices, solve, suits


@dataclass(frozen=True, slots=True)
class Proposal:
    """`placed` keeps all wishes when `clash` is empty; else it is what could be done with those in `clash` ready later.

    `reasons` are sentences. A beer that fits nowhere is not among those `placed`.
    """

    placed: tuple[Placed, ...]
    clash: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()


def propose(yard: Yard, wishes: Sequence[Wish]) -> Proposal:
    """The best plan, or why there is none. Raises solver.NotSolved."""
    found = solve(yard, wishes)
    if found is not None:
        return Proposal(_sorted(found))
    alone = [wish for wish in wishes if not choices(yard, wish)]
    clash = alone or clashing(yard, wishes)
    reasons = [why_not(yard, wish) for wish in alone] or [_why_clash(yard, clash)]
    names = {wish.name for wish in clash}
    softened = [replace(wish, ready_by=None) if wish.name in names else wish for wish in wishes]
    later = solve(yard, [wish for wish in softened if choices(yard, wish)])
    return Proposal(_sorted(later or ()), tuple(wish.name for wish in clash), tuple(reasons))


def clashing(yard: Yard, wishes: Sequence[Wish]) -> list[Wish]:
    """A smallest set in the sense that without any one of it the others could be kept."""
    kept = list(wishes)
    for wish in wishes:
        without = [one for one in kept if one is not wish]
        if solve(yard, without) is None:
            kept = without
    return kept


def why_not(yard: Yard, wish: Wish) -> str:
    """Why one beer cannot be had, chamber by chamber."""
    parts = "; ".join(_against(yard, place, wish) for place in yard.places.values())
    wanted = f"cannot be ready by {wish.ready_by:%d %b %Y}" if wish.ready_by else "fits nowhere"
    return f"{wish.name} {wanted}: {parts}."


def _why_clash(yard: Yard, clash: Sequence[Wish]) -> str:
    names = _listed([wish.name for wish in clash])
    places = [place.name for place in yard.places.values() if any(suits(place, wish) for wish in clash)]
    days = "; ".join(map(_takes, clash))
    return f"{names} cannot all be kept: {days}; {_only(places)}. Without any one of them the others can be." + _cold(
        yard, clash
    )


def _takes(wish: Wish) -> str:
    by = f" and is wished by {wish.ready_by:%d %b}" if wish.ready_by else ""
    return f"{wish.name} takes {wish.need.days} days{by}"


def _only(places: Sequence[str]) -> str:
    return f"there {'is' if len(places) == 1 else 'are'} only {_listed(places)} for them"


def _cold(yard: Yard, clash: Sequence[Wish]) -> str:
    """Said where it is not the chambers that are missing, but what they share."""
    free = replace(yard, bath_w={}, circuit_w={}, places={n: replace(p, bath="") for n, p in yard.places.items()})
    if solve(free, clash) is None:
        return ""
    shared = {place.bath or place.circuit for place in yard.places.values() if place.bath or place.circuit}
    return f" There are chambers enough; {_listed(sorted(shared))} cannot carry their crashes on the same days."


def _against(yard: Yard, place: Place, wish: Wish) -> str:
    need: Need = wish.need
    if wish.chambers and place.name not in wish.chambers:
        return f"{place.name} is not wished"
    if wish.volume_l > place.volume_l:
        return f"{place.name} holds {place.volume_l:g} L, not {wish.volume_l:g} L"
    if not suits(place, wish):
        asked = f"{need.lowest_c:g} to {need.highest_c:g} degC"
        return f"{place.name} goes from {place.lowest_c:g} to {place.highest_c:g} degC, not {asked}"
    if place.free_from is None:
        return f"nobody can say when {place.taken_by} leaves {place.name}"
    begins = max(yard.today, place.free_from, wish.not_before or yard.today)
    ready = begins + timedelta(days=need.days)
    taken = f"{place.name} is taken by {place.taken_by} until {place.free_from:%d %b}, so" if place.taken_by else ""
    return f"{taken} {place.name} has it ready on {ready:%d %b %Y} at the earliest ({need.days} days)".strip()


def _sorted(placed: Sequence[Placed]) -> tuple[Placed, ...]:
    return tuple(sorted(placed, key=lambda one: (one.begins, one.beer)))


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "no chamber"
