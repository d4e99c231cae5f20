"""Every kind of alarm has an incident that causes it, in a whole rehearsal, and is told in time."""

import pytest

from benchmarks.alarm_incidents import INCIDENTS, play, staged
from benchmarks.alarm_stage import Staged
from schemas.conditions import ConditionKind
from services.notifier.catalogue import standard_catalogue

SOON_ENOUGH = 0.5
"""Of the time to respond; the other half is the person's."""
QUICK = [one for one in INCIDENTS if not one.long]
LONG = [one for one in INCIDENTS if one.long]


def told_in_time(incident: Staged) -> bool:
    """And not before anything was wrong."""
    found = play(incident)
    late = [f"{one.kind}: {one.share:.2f}" for one in found if not one.told or one.share > SOON_ENOUGH]
    assert late == []
    return not any(one.early for one in found)


def test_every_kind_of_the_catalogue_has_an_incident() -> None:
    assert staged() == set(standard_catalogue()) == set(ConditionKind)


def test_an_incident_that_nobody_is_told_of_is_seen() -> None:
    nothing = Staged("nothing", INCIDENTS[0].tells, lambda scene: None, INCIDENTS[0].plant, lasts=INCIDENTS[0].quiet)
    assert [one.told for one in play(nothing)] == [False]


@pytest.mark.parametrize("incident", QUICK, ids=lambda one: one.what)
def test_an_incident_is_told_before_half_of_the_time_to_respond_is_over(incident: Staged) -> None:
    assert told_in_time(incident)


@pytest.mark.soak
@pytest.mark.parametrize("incident", LONG, ids=lambda one: one.what)
def test_an_incident_that_takes_days_is_told_in_time_too(incident: Staged) -> None:
    assert told_in_time(incident)
