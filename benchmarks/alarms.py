"""Alarms: four weeks of a site of eight chambers, judged by what its beers really went through.

All figures are of simulated time and the same for a seed. Incidents are invented; each happens once in every life.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor

from benchmarks.alarm_life import Life, live
from benchmarks.alarm_site import site
from benchmarks.rows import Row, at_most

NAME = "alarms"
SEEDS = (1, 2, 3)


def run() -> Iterable[Row]:
    """The figures over all seeds, then how long each kind of incident went before it was told."""
    with ProcessPoolExecutor(max_workers=2) as pool:
        lives = list(pool.map(live, SEEDS))
    yield from _nuisance(lives)
    shares = sorted(share for life in lives for share in life.shares())
    p95 = shares[min(len(shares) - 1, int(0.95 * len(shares)))] if shares else float("nan")
    yield at_most(NAME, "detection_share_of_response_time_p95", p95, "share", 0.5)
    yield from _delays(lives)


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
