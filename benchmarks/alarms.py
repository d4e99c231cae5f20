"""Alarms: four weeks of a site of eight chambers, judged by what its beers really went through; and every kind of alarm
once, in a small plant, timed from the fault and from the onset of harm.

All figures are of simulated time and the same for a seed. Incidents are invented; in the four weeks each happens once.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor

from benchmarks.alarm_incidents import INCIDENTS, play_one, staged
from benchmarks.alarm_life import Life, live
from benchmarks.alarm_site import site
from benchmarks.alarm_stage import Detection
from benchmarks.rows import Row, at_most
from schemas.conditions import ConditionKind

NAME = "alarms"
SEEDS = (1, 2, 3)


def run() -> Iterable[Row]:
    """The figures over all seeds, then how long each incident, and each kind of alarm, went before it was told."""
    with ProcessPoolExecutor(max_workers=2) as pool:
        lives = list(pool.map(live, SEEDS))
        found = [one for detections in pool.map(play_one, range(len(INCIDENTS))) for one in detections]
    yield from _nuisance(lives)
    shares = [share for life in lives for share in life.shares()]
    yield at_most(NAME, "detection_share_of_response_time_p95", _p95(shares), "share", 0.5)
    yield from _delays(lives)
    yield from _kinds(found)


def _p95(shares: list[float]) -> float:
    ranked = sorted(shares)
    return ranked[min(len(ranked) - 1, int(0.95 * len(ranked)))] if ranked else float("nan")


def _kinds(found: list[Detection]) -> Iterator[Row]:
    """Each kind by itself: minutes from the fault and from harm's onset, and what was left of the time to respond."""
    yield at_most(NAME, "kinds_without_incident", len(set(ConditionKind) - staged()), "kinds", 0)
    yield at_most(NAME, "kinds_not_told", sum(not one.told for one in found), "kinds", 0)
    yield at_most(NAME, "kinds_share_of_response_time_p95", _p95([one.share for one in found]), "share", 0.5)
    for one in sorted(found, key=lambda one: one.kind):
        key = one.kind.replace("-", "_")
        yield Row(NAME, f"kind_{key}_from_fault", one.from_fault_min, "min")
        yield Row(NAME, f"kind_{key}_from_onset", one.from_onset_min, "min")
        yield Row(NAME, f"kind_{key}_response_time_left", 1.0 - one.share, "share")


def _nuisance(lives: list[Life]) -> Iterator[Row]:
    raised = sum(len(life.raised) for life in lives)
    nuisances = sum(len(life.nuisances()) for life in lives)
    days = sum(life.span.days for life in lives)
    missed = sum(len(life.missed()) for life in lives)
    chattering = sum(len(life.chattering()) for life in lives)
    per_chamber = nuisances / (len(site().chambers) * len(lives))
    yield at_most(NAME, "missed_harms", missed, "harms", 0)
    yield at_most(NAME, "nuisance_per_chamber_four_weeks", per_chamber, "alarms", 1)
    yield at_most(NAME, "alarms_per_day_site", raised / days, "alarms", 6)
    yield at_most(NAME, "chattering", chattering, "alarms", 0)
    yield Row(NAME, "nuisance_share", nuisances / raised if raised else 0.0, "share")
    yield Row(NAME, "real_harms", sum(len(life.harms) for life in lives), "harms")
    yield Row(NAME, "faults_not_told_and_without_harm", sum(len(life.untold()) for life in lives), "faults")


def _delays(lives: list[Life]) -> Iterator[Row]:
    """How long after each kind of incident it was told, and what was left then of the time to respond; the worst."""
    from_incident: dict[str, float] = defaultdict(float)
    shares: dict[str, float] = defaultdict(float)
    for life in lives:
        for incident, told, _, share in life.detections():
            key = incident.what.replace("'", "").replace(" ", "_")
            minutes = (told.at - incident.begins).total_seconds() / 60
            from_incident[key] = max(from_incident[key], minutes)
            shares[key] = max(shares[key], share)
    for key, minutes in sorted(from_incident.items()):
        yield Row(NAME, f"told_after_{key}", minutes, "min")
        yield Row(NAME, f"response_time_left_{key}", 1.0 - shares[key], "share")
