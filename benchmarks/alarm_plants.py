"""Small plants in which things go wrong, written as people write plant files; all invented."""

HEAD = "site: {name: club, timezone: Europe/Dublin}\ncircuits: {ring: {voltage: 230 V, limit: 13 A}}\nchambers:\n"


def fridge(name: str = "ale", every: str = "10 s", heater: str = "60 W", more: str = "", probes: str = "") -> str:
    """A converted fridge with its own fan; `more` are other lines of the chamber, `probes` other probes."""
    return f"""  {name}:
    kind: fridge
    contents: {{volume: 20 L}}
    {more}
    probes:
      beer: {{measures: temperature, from: {{simulated: true}}, every: {every}}}
      air: {{measures: temperature, from: {{simulated: true}}, every: {every}}}
      door: {{measures: contact, from: {{simulated: true}}, every: {every}}}
      {probes}
    outputs:
      cool: {{drives: compressor, to: {{simulated: true}}, power: 95 W, inrush: 6, circuit: ring}}
      heat: {{drives: heater, to: {{simulated: true}}, power: {heater}, circuit: ring}}
      fan: {{drives: fan, to: {{simulated: true}}, power: 3 W}}
"""


def vessel_on_a_bath(level: str = "") -> str:
    """A jacketed vessel and the glycol that cools it."""
    return f"""  conical:
    kind: jacketed
    cooled_by: bath
    contents: {{volume: 50 L}}
    probes:
      beer: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
    outputs:
      pump: {{drives: pump, to: {{simulated: true}}, power: 12 W, circuit: ring}}
  bath:
    kind: reservoir
    contents: {{volume: 60 L, coolant: {{propylene_glycol: 30 %}}}}
    hold: -4 degC
    probes:
      bath: {{measures: temperature, from: {{simulated: true}}, every: 10 s}}
      {level}
    outputs:
      chill: {{drives: compressor, to: {{simulated: true}}, power: 420 W, inrush: 5, circuit: ring}}
"""


def gauge(name: str, measures: str, every: str = "10 s", more: str = "") -> str:
    """A probe whose device is no part of the simulated plant."""
    return f"{name}: {{measures: {measures}, from: {{mqtt: gear/{name}{more}}}, every: {every}}}"


def scale(what: str) -> str:
    """A keg or a cylinder on its scale."""
    weighs = f"weighs: {{what: {what}, empty: 4 kg}}"
    return f"scale: {{measures: mass, from: {{mqtt: gear/scale}}, every: 10 s, {weighs}}}"


FRIDGE, BATH = HEAD + fridge(), HEAD + vessel_on_a_bath()
SLOW_FRIDGE = HEAD + fridge(every="60 s")
FLAT = gauge("gravity", "gravity", every="15 min")
HOT_FRIDGE = HEAD + fridge(heater="500 W", more="limits: {air_highest: 38 degC}")
BY_HAND = HEAD + fridge(every="60 s").replace(
    "beer: {measures: temperature, from: {simulated: true}", "beer: {measures: temperature, from: {mqtt: gear/beer}"
)
TWO_FRIDGES = HEAD + fridge() + fridge("stout")
SMALL_RING = TWO_FRIDGES.replace("limit: 13 A", "limit: 2.8 A")
EAGER = HEAD + fridge().replace("inrush: 6", "inrush: 6, starts_per_hour: 1")
RELAY = "{mqtt: gear/heat/set, state: gear/heat/state}"
TOLD_BACK = HEAD + fridge().replace(
    "heat: {drives: heater, to: {simulated: true}", f"heat: {{drives: heater, to: {RELAY}"
)
