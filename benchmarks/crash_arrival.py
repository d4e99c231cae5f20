"""Crashes of invented chambers, rehearsed through all cores: when the beer was there, and what had been foretold.

Each beer is chilled twice. First its chamber is known from the plant file alone, then from the first crash.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random
from typing import NamedTuple

from schemas.batches import BatchState
from schemas.contract import topic_for
from schemas.plant import Plant
from schemas.plant_file import loads
from schemas.profiles import Profile
from schemas.requests import StartBatch
from services.rehearsal.ensemble import on_stage
from services.runtime.service import Outgoing
from services.scheduler.profile_file import loads as profile_from

SEEDS = (1, 3)
START = datetime(2026, 3, 2, 8, tzinfo=UTC)
TICK = timedelta(minutes=1)
HOUR = timedelta(hours=1)
CRASHES = ("first crash", "second crash")
CHAMBERS = ("ale", "lager", "conical")


class Said(NamedTuple):
    """One forecast."""

    at: datetime
    likely: datetime
    earliest: datetime
    latest: datetime | None


class Foretold(NamedTuple):
    """Of one crash, as of a moment: where it stood, and how far off it was, both as shares of how long it took."""

    crash: str
    share: float
    error: float
    held: bool


@dataclass(slots=True)
class Watch:
    """Hourly, what each batch says of the arrival in its running step, and when that was."""

    told: dict[tuple[str, str], list[Said]] = field(default_factory=dict)
    began: dict[tuple[str, str], datetime] = field(default_factory=dict)
    arrived: dict[tuple[str, str], datetime] = field(default_factory=dict)
    states: dict[str, BatchState] = field(default_factory=dict)

    def hear(self, outgoing: Outgoing, now: datetime) -> None:
        """See `stage.Witness`."""
        if isinstance(outgoing.body, BatchState):
            self.states[outgoing.body.batch] = outgoing.body

    def look(self, now: datetime) -> None:
        """At everybody's crashes."""
        for state in self.states.values():
            for step in state.steps:
                key = (state.batch, step.name)
                if step.name not in CRASHES or step.begins is None or step.begins > now or step.arrives is None:
                    continue
                self.began[key] = step.begins
                if step.arrives_earliest is None:
                    self.arrived[key] = step.arrives
                else:
                    said = Said(now, step.arrives, step.arrives_earliest, step.arrives_latest)
                    self.told.setdefault(key, []).append(said)


def foretold() -> Iterator[Foretold]:
    """Every forecast of every crash that was over in time."""
    for seed in SEEDS:
        watch = _watched(seed)
        for key, arrived in watch.arrived.items():
            lasted = arrived - watch.began[key]
            for at, likely, earliest, latest in watch.told.get(key, ()):
                held = earliest <= arrived and (latest is None or arrived <= latest)
                yield Foretold(key[1], (at - watch.began[key]) / lasted, abs(likely - arrived) / lasted, held)


def _watched(seed: int) -> Watch:
    random = Random(seed)
    plant, watch = _plant(random), Watch()
    stage, _ = on_stage(plant, START, seed=seed, tick=TICK)
    stage.witnesses.append(watch.hear)
    for name in CHAMBERS:
        request = StartBatch(
            at=START, source="bench", id=name, client="bench", who="bench", batch=name, chamber=name,
            profile=_profile(random), original_gravity_sg=1.048,
        )  # fmt: skip
        stage.ask(Outgoing(topic_for(plant.site.name, request), request))
    while stage.now < START + timedelta(days=8):
        stage.run_until(stage.now + HOUR)
        watch.look(stage.now)
    return watch


def _plant(random: Random) -> Plant:
    """Powers and volumes within a third of what is common: the guesses from the plant file are off by as much."""

    def near(usual: float) -> float:
        return round(usual * random.uniform(0.75, 1.33), 1)

    def fridge(name: str) -> str:
        return f"""
  {name}:
    kind: fridge
    contents: {{volume: {near(22)} L}}
    probes:
      beer: {{measures: temperature, from: {{simulated: true}}}}
      air: {{measures: temperature, from: {{simulated: true}}}}
    outputs:
      cool: {{drives: compressor, to: {{simulated: true}}, power: {near(95)} W}}
      heat: {{drives: heater, to: {{simulated: true}}, power: 60 W}}
      fan: {{drives: fan, to: {{simulated: true}}, power: 3 W}}"""

    return loads(f"""
site: {{name: trial, timezone: Europe/Dublin}}
chambers:{fridge("ale")}{fridge("lager")}
  bath:
    kind: reservoir
    contents: {{volume: 40 L, coolant: {{propylene_glycol: 30 %}}}}
    probes: {{bath: {{measures: temperature, from: {{simulated: true}}}}}}
    outputs: {{chill: {{drives: compressor, to: {{simulated: true}}, power: {near(300)} W}}}}
  conical:
    kind: jacketed
    cooled_by: bath
    contents: {{volume: {near(48)} L}}
    probes: {{beer: {{measures: temperature, from: {{simulated: true}}}}}}
    outputs:
      pump: {{drives: pump, to: {{simulated: true}}, power: 12 W}}
      heat: {{drives: heater, to: {{simulated: true}}, power: 150 W}}
""")


def _profile(random: Random) -> Profile:
    """Crashes as fast as the chamber can, or along a ramp that it may or may not be able to follow."""
    warm_c, cold_c = random.uniform(15.0, 20.0), random.uniform(0.8, 4.0)
    down = f"hold: {cold_c:.1f} degC, for: 40 h"
    ramp = f"to: {cold_c:.1f} degC, over: {random.uniform(4.0, 24.0):.1f} h"
    second = down if random.random() < 0.6 else ramp
    return profile_from(f"""
profile: twice
steps:
  - {{name: ferment, hold: {warm_c:.1f} degC, for: 30 h}}
  - {{name: first crash, {down}}}
  - {{name: again, hold: {warm_c:.1f} degC, for: 60 h}}
  - {{name: second crash, {second}}}
  - {{name: settle, hold: {cold_c:.1f} degC}}
""")
