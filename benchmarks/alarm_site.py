"""A site of eight chambers, its beers, and four weeks of ordinary life; all invented, all from a seed."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from random import Random

from schemas.contract import topic_for
from schemas.plant import Plant
from schemas.plant_file import loads
from schemas.profiles import Profile
from schemas.requests import StartBatch
from schemas.written import build, read
from services.runtime.service import Outgoing
from services.simulator.core import TimedFault
from services.simulator.faults import Fault, FaultKind
from services.simulator.weather import Spell, Weather, garage

SPAN = timedelta(days=28)
START = datetime(2026, 5, 4, 6, tzinfo=UTC)
HOUR = timedelta(hours=1)

_FRIDGE = """
  {name}:
    kind: fridge
    contents: {{volume: {litres} L}}
    probes:
      beer: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
      air: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
      door: {{measures: contact, from: {{simulated: true}}, every: 10 s}}
    outputs:
      cool: {{drives: compressor, to: {{simulated: true}}, power: {watts} W, inrush: 6, circuit: ring}}
      heat: {{drives: heater, to: {{simulated: true}}, power: 60 W, circuit: ring}}
      fan: {{drives: fan, to: {{simulated: true}}, power: 3 W}}
"""
_KEGS = """
  {name}:
    kind: kegerator
    contents: {{volume: 38 L}}
    hold: 5 degC
    probes:
      beer: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
      air: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
      door: {{measures: contact, from: {{simulated: true}}, every: 10 s}}
    outputs:
      cool: {{drives: compressor, to: {{simulated: true}}, power: 90 W, inrush: 6, circuit: ring}}
      fan: {{drives: fan, to: {{simulated: true}}, power: 3 W}}
"""
_VESSEL = """
  {name}:
    kind: jacketed
    cooled_by: bath
    contents: {{volume: {litres} L}}
    probes:
      beer: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
      line: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
    outputs:
      pump: {{drives: pump, to: {{simulated: true}}, power: 12 W, circuit: ring}}
      heat: {{drives: heater, to: {{simulated: true}}, power: 100 W, circuit: ring}}
"""
_BATH = """
  bath:
    kind: reservoir
    contents: {volume: 60 L, coolant: {propylene_glycol: 30 %}}
    hold: -4 degC
    probes:
      bath: {measures: temperature, from: {simulated: true}, every: 10 s}
    outputs:
      chill: {drives: compressor, to: {simulated: true}, power: 420 W, inrush: 5, circuit: ring}
"""
FRIDGES = ("ale", "stout", "lager", "cider")
VESSELS = ("conical", "uni")
KEGS = "kegs"


@cache
def site() -> Plant:
    """Four fridges, two vessels on a bath, a keg fridge."""
    chambers = [
        *(_FRIDGE.format(name=name, litres=19 + 2 * number, watts=95) for number, name in enumerate(FRIDGES)),
        *(_VESSEL.format(name=name, litres=50) for name in VESSELS),
        _KEGS.format(name=KEGS),
        _BATH,
    ]
    head = "site: {name: club, timezone: Europe/Dublin}\ncircuits: {ring: {voltage: 230 V, limit: 13 A}}\nchambers:"
    return loads(head + "".join(chambers), "club.yaml")


_ALE = """
profile: pale
steps:
  - {name: ferment, hold: 18 degC, for: 5 d}
  - {name: rise, to: 21 degC, over: 24 h}
  - {name: rest, hold: 21 degC, for: 2 d}
  - {name: crash, to: 2 degC, over: 36 h, tolerance: 1.5 K}
  - {name: cold, hold: 2 degC, for: 3 d}
"""
_LAGER = """
profile: slow-lager
steps:
  - {name: ferment, hold: 11 degC, for: 8 d}
  - {name: rise, to: 15 degC, over: 2 d}
  - {name: rest, hold: 15 degC, for: 3 d}
  - {name: down, to: 2 degC, rate: 0.15 K/h}
  - {name: lager, hold: 2 degC, for: 8 d}
"""


def batches(seed: int) -> list[tuple[datetime, StartBatch]]:
    """Each fermenting chamber's beers, one after the other, from a day of the first week on."""
    random = Random(f"{seed} batches")
    found = []
    for chamber in (*FRIDGES, *VESSELS):
        moment = START + timedelta(days=4 * random.random())
        for number, (text, lasts) in enumerate(
            ((_ALE, 13.5), (_LAGER, 25)) if random.random() < 0.5 else ((_LAGER, 25),)
        ):
            found.append((moment, _start(f"{chamber}-{number}", chamber, text, moment)))
            moment += timedelta(days=lasts)
    return sorted(found, key=lambda one: one[0])


def _start(batch: str, chamber: str, text: str, moment: datetime) -> StartBatch:
    return StartBatch(
        at=moment, source="benchmark", id=f"start-{batch}", client="benchmark", who="the benchmark", batch=batch,
        title=batch, chamber=chamber, profile=build(Profile, read(text, "profile.yaml")), original_gravity_sg=1.050,
    )  # fmt: skip


def asked(request: StartBatch) -> Outgoing:
    """As it travels."""
    return Outgoing(topic_for(site().site.name, request), request)


def weather(seed: int, heat: bool = True) -> Weather:
    """A garage in May, with three days of heat in it."""
    begins_h = Random(f"{seed} heat").uniform(24 * 5, 24 * 22)
    spells = (Spell(begins_h, 72.0, 9.0),) if heat else ()
    return garage(START, hours=24 * 29, offset_k=4.0, spells=spells)


@dataclass(frozen=True, slots=True)
class Incident:
    """Something that goes wrong, or only seems to, at one chamber (empty: everywhere).

    `harmful`: it is so by itself, as is a probe that nobody can trust; a machine that fails is so when and if beer
    really comes to harm. `told_as` are the alarms that tell of it.
    """

    what: str
    chamber: str
    begins: datetime
    ends: datetime
    harmful: bool
    told_as: tuple[str, ...]
    faults: tuple[Fault, ...]

    def timed(self) -> Iterator[TimedFault]:
        """For the simulator."""
        return (TimedFault(fault, self.begins, self.ends) for fault in self.faults)


WARM, COLD = ("beer-too-warm", "heading-out"), ("beer-too-cold", "heading-out")
WELDED = ("relay-welded", "output-not-following")
HAPPENINGS: tuple[tuple[str, str, float, bool, tuple[str, ...], tuple[tuple[FaultKind, str], ...]], ...] = (
    ("door left open", "fridge", 5, True, ("door-open",), ((FaultKind.DOOR_OPEN, ""),)),
    ("kegs' door left open", "kegs", 3, True, ("door-open",), ((FaultKind.DOOR_OPEN, ""),)),
    ("compressor cools no more", "fridge", 30, False, ("not-cooling", *WARM), ((FaultKind.NO_COOLING, "cool"),)),
    ("kegs' compressor cools no more", "kegs", 30, False, ("not-cooling", *WARM), ((FaultKind.NO_COOLING, "cool"),)),
    ("compressor's relay sticks on", "fridge", 10, False, (*WELDED, *COLD), ((FaultKind.WELDED_ON, "cool"),)),
    ("heater's relay sticks on", "fridge", 10, False, (*WELDED, *WARM), ((FaultKind.WELDED_ON, "heat"),)),
    ("heater dies", "fridge", 30, False, ("not-heating", *COLD), ((FaultKind.HEATER_DEAD, "heat"),)),
    ("pump moves nothing", "vessel", 24, False, ("pump-without-flow", *WARM), ((FaultKind.NO_FLOW, "pump"),)),
    ("beer probe dies", "fridge", 12, True, ("probe-silent", "no-trusted-probe"), ((FaultKind.PROBE_DEAD, "beer"),)),
    ("beer probe out of its well", "fridge", 24, True, ("probe-drifting", "probe-implausible", *WARM, *COLD),
     ((FaultKind.PROBE_OUT, "beer"),)),
    ("beer probe says 85 degC", "vessel", 6, True, ("probe-implausible", "no-trusted-probe"),
     ((FaultKind.PROBE_POWER_ON, "beer"),)),
    ("bath's chiller cools no more", "bath", 40, False, ("not-cooling", "reservoir-too-warm"),
     ((FaultKind.NO_COOLING, "chill"),)),
)  # fmt: skip
"""What, where, for how many hours, whether it is a harm by itself, what tells of it, the faults of the simulator."""
PLACES = {"fridge": FRIDGES, "vessel": VESSELS, "kegs": (KEGS,), "bath": ("bath",)}
CUT_H = (0.6, 2.5)


def incidents(seed: int) -> list[Incident]:
    """Every happening once, two days apart and in an order of chance, and two power cuts of the whole site."""
    random = Random(f"{seed} incidents")
    order = random.sample(HAPPENINGS, len(HAPPENINGS))
    found = []
    for number, (what, place, hours, harmful, told_as, faults) in enumerate(order):
        begins = START + timedelta(days=4 + 2 * number, hours=random.uniform(0, 18))
        chamber = random.choice(PLACES[place])
        made = tuple(Fault(kind, chamber, target) for kind, target in faults)
        found.append(Incident(what, chamber, begins, begins + hours * HOUR, harmful, told_as, made))
    for number, hours in enumerate(CUT_H):
        begins = START + timedelta(days=2 + 24 * number, hours=random.uniform(0, 12))
        cut = (Fault(FaultKind.POWER_CUT),)
        found.append(
            Incident("power cut", "", begins, begins + hours * HOUR, False, ("power-returned", "step-late"), cut)
        )
    return sorted(found, key=lambda one: one.begins)


def defrosts() -> Iterator[TimedFault]:
    """The keg fridge defrosts itself for twenty minutes twice a day: nothing is wrong."""
    fault = Fault(FaultKind.NO_COOLING, KEGS, "cool")
    for number in range(2 * SPAN.days):
        begins = START + number * 12 * HOUR + 3 * HOUR
        yield TimedFault(fault, begins, begins + timedelta(minutes=20))
