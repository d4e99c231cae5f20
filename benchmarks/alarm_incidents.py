"""An incident for every kind of alarm that there is: what goes wrong, in which plant, and from when on it does harm.

Places, beers and gauges are invented. `harm begins` is the fault itself where it is one at once; for a machine that
fails it is the moment from which the beer, as it truly is, has left its band, whatever any probe says.
"""

from datetime import timedelta

from benchmarks.alarm_acts import (
    after,
    astray,
    both,
    breaks,
    brews,
    colder_than,
    falls,
    holds,
    reads_ever_more,
    relay_follows,
    shows,
    store_fails,
    too_cold,
    too_warm,
)
from benchmarks.alarm_plants import (
    BATH,
    BY_HAND,
    EAGER,
    FLAT,
    FRIDGE,
    HEAD,
    HOT_FRIDGE,
    SLOW_FRIDGE,
    SMALL_RING,
    TOLD_BACK,
    fridge,
    gauge,
    scale,
    vessel_on_a_bath,
)
from benchmarks.alarm_stage import DAY, HOUR, MINUTE, Detection, Scene, Staged, Told
from schemas.base import ServiceName
from schemas.conditions import ConditionKind as Kind
from schemas.requests import DeclareTask, LockOut, SetChore
from services.recorder.store import DiskFull, StoreUnreachable
from services.simulator.faults import FaultKind
from services.simulator.weather import Weather, constant

BEER_LEAVES, TOO_COLD_BEER = "the beer is 0.75 K too warm", "the beer is 0.75 K too cold"
FERMENT = (
    "  - {name: ferment, hold: 18 degC, ends: {gravity_at_most: 1.012}}\n  - {name: rest, hold: 18 degC, for: 2 d}\n"
)
POWER_OFF = timedelta(minutes=20)


INCIDENTS: tuple[Staged, ...] = (
    Staged(
        what="the heater's relay sticks on, and its air gets hot",
        tells=(Told(Kind.AIR_TOO_HOT, "the air is at its limit", lambda scene: scene.air_c("ale") >= 38.0),),
        goes_wrong=breaks(FaultKind.WELDED_ON, "ale", "heat"),
        plant=HOT_FRIDGE, lasts=6 * HOUR, set_up=holds(18.0),
    ),
    Staged(
        what="the compressor's relay sticks on",
        tells=(
            Told(Kind.RELAY_WELDED, TOO_COLD_BEER, too_cold()),
            Told(Kind.BEER_TOO_COLD, TOO_COLD_BEER, too_cold()),
            Told(Kind.BEER_NEAR_FREEZING, "the first ice", lambda scene: scene.ensemble.truth("ale").frozen > 0.0),
        ),
        goes_wrong=breaks(FaultKind.WELDED_ON, "ale", "cool"),
        long=True, plant=FRIDGE.replace("60 W", "10 W"),
        lasts=30 * HOUR, quiet=3 * HOUR, room=constant(12.0), set_up=holds(6.0),
    ),
    Staged(
        what="the compressor cools no more on a hot day",
        tells=(
            Told(Kind.NOT_COOLING, BEER_LEAVES, too_warm()),
            Told(Kind.BEER_TOO_WARM, BEER_LEAVES, too_warm()),
        ),
        goes_wrong=breaks(FaultKind.NO_COOLING, "ale", "cool"),
        long=True, plant=FRIDGE, lasts=24 * HOUR, quiet=6 * HOUR, room=constant(28.0), set_up=holds(16.0),
    ),
    Staged(
        what="a night's frost is more than a small heater carries",
        tells=(Told(Kind.HEADING_OUT, TOO_COLD_BEER, too_cold()),),
        goes_wrong=lambda scene: None,
        long=True, plant=FRIDGE.replace("60 W", "30 W"),
        lasts=12 * HOUR, quiet=4 * HOUR, room=Weather([16.0] * 5 + [-8.0] * 40),
        set_up=holds(18.0),
    ),
    Staged(
        what="the heater dies in a cold shed",
        tells=(Told(Kind.NOT_HEATING, TOO_COLD_BEER, too_cold()),),
        goes_wrong=breaks(FaultKind.HEATER_DEAD, "ale", "heat"),
        long=True, plant=FRIDGE, lasts=24 * HOUR, quiet=6 * HOUR, room=constant(5.0), set_up=holds(18.0),
    ),
    Staged(
        what="the door is left open",
        tells=(Told(Kind.DOOR_OPEN),),
        goes_wrong=breaks(FaultKind.DOOR_OPEN, "ale"),
        plant=FRIDGE, lasts=2 * HOUR,
    ),
    Staged(
        what="the air probe's cable is cut",
        tells=(Told(Kind.PROBE_SILENT),),
        goes_wrong=breaks(FaultKind.PROBE_DEAD, "ale", "air"),
        plant=FRIDGE, lasts=2 * HOUR,
    ),
    Staged(
        what="both probes' device dies",
        tells=(Told(Kind.NO_TRUSTED_PROBE),),
        goes_wrong=breaks(FaultKind.PROBE_DEAD, "ale", "beer", "air"),
        plant=FRIDGE, lasts=2 * HOUR,
    ),
    Staged(
        what="the beer probe says 85 degC",
        tells=(Told(Kind.PROBE_IMPLAUSIBLE),),
        goes_wrong=breaks(FaultKind.PROBE_POWER_ON, "ale", "beer"),
        plant=FRIDGE, lasts=2 * HOUR,
    ),
    Staged(
        what="the beer probe slips out of its well",
        tells=(Told(Kind.PROBE_DRIFTING, "the beer is 0.75 K off", astray()),),
        goes_wrong=breaks(FaultKind.PROBE_OUT, "ale", "beer"),
        long=True, plant=FRIDGE, lasts=24 * HOUR, quiet=3 * HOUR, room=constant(24.0), set_up=holds(12.0),
    ),
    Staged(
        what="the beer probe reads ever less, by 0.7 K a day",
        tells=(Told(Kind.PROBE_DRIFTING, "the beer is 0.75 K off", astray()),),
        goes_wrong=reads_ever_more("beer", "ale", -0.7),
        long=True, plant=BY_HAND, lasts=4 * DAY, quiet=DAY, tick=MINUTE, room=constant(20.0),
        set_up=both(reads_ever_more("beer", "ale", 0.0), holds(12.0)),
    ),
    Staged(
        what="the beer probe of a cold fridge reads ever more, by 0.7 K a day",
        tells=(Told(Kind.PROBE_DRIFTING, "the beer is 0.75 K off", astray()),),
        goes_wrong=reads_ever_more("beer", "ale", 0.7),
        long=True, plant=BY_HAND, lasts=4 * DAY, quiet=DAY, tick=MINUTE, room=constant(20.0),
        set_up=both(reads_ever_more("beer", "ale", 0.0), holds(4.0)),
    ),
    Staged(
        what="the heater's relay no longer does what it is told",
        tells=(Told(Kind.OUTPUT_NOT_FOLLOWING),),
        goes_wrong=shows("heat/state", 1.0),
        plant=TOLD_BACK, lasts=HOUR, room=constant(22.0), set_up=both(holds(12.0), relay_follows),
    ),
    Staged(
        what="a compressor that may start once an hour has to more often",
        tells=(Told(Kind.STARTING_TOO_OFTEN),),
        goes_wrong=breaks(FaultKind.PROBE_DEAD, "ale", "beer"),
        plant=EAGER, lasts=12 * HOUR, room=constant(30.0), set_up=holds(4.0),
    ),
    Staged(
        what="the pump moves nothing",
        tells=(Told(Kind.PUMP_WITHOUT_FLOW, BEER_LEAVES, too_warm("conical")),),
        goes_wrong=breaks(FaultKind.NO_FLOW, "conical", "pump"),
        long=True, plant=BATH, lasts=24 * HOUR, quiet=8 * HOUR, room=constant(26.0), set_up=holds(10.0, "conical"),
    ),
    Staged(
        what="the chiller cools no more while a vessel is crashed",
        tells=(Told(Kind.RESERVOIR_TOO_WARM),),
        goes_wrong=both(breaks(FaultKind.NO_COOLING, "bath", "chill"), holds(1.0, "conical")),
        plant=BATH, lasts=12 * HOUR, quiet=2 * HOUR, room=constant(24.0), set_up=holds(18.0, "conical"),
    ),
    Staged(
        what="the chiller's relay sticks on",
        tells=(Told(Kind.RESERVOIR_TOO_COLD, "the bath is 2 K above where it freezes", colder_than(-10.9, "bath")),),
        goes_wrong=breaks(FaultKind.WELDED_ON, "bath", "chill"),
        plant=BATH, lasts=12 * HOUR, quiet=2 * HOUR,
    ),
    Staged(
        what="coolant leaks, and the float falls",
        tells=(Told(Kind.RESERVOIR_LOW),),
        goes_wrong=shows("level", 1.0),
        plant=HEAD + vessel_on_a_bath(gauge("level", "contact", more=", open: 1")),
        lasts=HOUR, set_up=shows("level", 0.0),
    ),
    Staged(
        what="two compressors have to share a circuit that carries one",
        tells=(Told(Kind.CIRCUIT_NEAR_LIMIT),),
        goes_wrong=both(holds(2.0), holds(2.0, "stout")),
        plant=SMALL_RING, lasts=6 * HOUR, room=constant(28.0), set_up=both(holds(24.0), holds(24.0, "stout")),
    ),
    Staged(
        what="a vessel's pressure creeps up",
        tells=(Told(Kind.PRESSURE_HIGH),),
        goes_wrong=shows("pressure", 2.7),
        plant=HEAD + fridge(probes=gauge("pressure", "pressure")), lasts=HOUR, set_up=shows("pressure", 1.0),
    ),
    Staged(
        what="carbon dioxide gathers in the room",
        tells=(Told(Kind.ROOM_CO2),),
        goes_wrong=shows("co2", 6000.0),
        plant=HEAD + fridge(probes=gauge("co2", "co2")), lasts=HOUR, set_up=shows("co2", 600.0),
    ),
    Staged(
        what="a keg is poured down to its last pints",
        tells=(Told(Kind.KEG_LOW),),
        goes_wrong=shows("scale", 5.0),
        plant=HEAD + fridge(probes=scale("keg")), lasts=6 * HOUR, set_up=shows("scale", 12.0),
    ),
    Staged(
        what="a cylinder is nearly used up",
        tells=(Told(Kind.CYLINDER_LOW),),
        goes_wrong=shows("scale", 4.2),
        plant=HEAD + fridge(probes=scale("cylinder")), lasts=6 * HOUR, set_up=shows("scale", 6.0),
    ),
    Staged(
        what="a gas line has come off its cylinder",
        tells=(Told(Kind.LEAK),),
        goes_wrong=falls("scale", 6.0, 2.4),
        plant=HEAD + fridge(probes=scale("cylinder")), lasts=HOUR, set_up=shows("scale", 6.0),
    ),
    Staged(
        what="gravity does not move after pitching",
        tells=(Told(Kind.NOT_BEGUN, "the hours allowed are over", after(12 * HOUR)),),
        goes_wrong=brews(FERMENT, gravity_sg=1.050, head="begins_within: 12 h\n"),
        long=True, plant=HEAD + fridge(every="60 s", probes=FLAT), lasts=DAY, tick=MINUTE,
        set_up=shows("gravity", 1.050),
    ),
    Staged(
        what="gravity stands still half way",
        tells=(Told(Kind.GRAVITY_STALLED, "it has stood for two days", after(2 * DAY)),),
        goes_wrong=shows("gravity", 1.026),
        long=True, plant=HEAD + fridge(every="60 s", probes=FLAT), lasts=4 * DAY, tick=MINUTE, quiet=DAY,
        set_up=both(falls("gravity", 1.050, 0.001), brews(FERMENT, gravity_sg=1.050)),
    ),
    Staged(
        what="what a step waits for does not happen in its time",
        tells=(Told(Kind.STEP_OVERDUE, "the time given is over", after(2 * HOUR)),),
        goes_wrong=brews("  - {name: wait, hold: 18 degC, ends: {gravity_at_most: 1.012}, latest: 2 h}\n"),
        plant=SLOW_FRIDGE, lasts=6 * HOUR, tick=MINUTE,
    ),
    Staged(
        what="the scheduler is gone when a step is due",
        tells=(Told(Kind.STEP_LATE, "the step is due", after(30 * MINUTE)),),
        goes_wrong=lambda scene: scene.kill(ServiceName.SCHEDULER, for_=HOUR),
        plant=SLOW_FRIDGE, lasts=4 * HOUR, tick=MINUTE,
        set_up=brews("  - {name: first, hold: 18 degC, for: 90 min}\n  - {name: then, hold: 17 degC, for: 2 d}\n"),
    ),
    Staged(
        what="a step asks for a hand",
        tells=(Told(Kind.HAND_NEEDED),),
        goes_wrong=brews("  - {name: hops, hold: 18 degC, ends: {word: Are the hops in?}}\n"),
        plant=SLOW_FRIDGE, lasts=2 * HOUR, tick=MINUTE,
    ),
    Staged(
        what="a chore comes due",
        tells=(Told(Kind.CHORE_DUE, "the time set", after(2 * HOUR)),),
        goes_wrong=lambda scene: scene.ask(SetChore, chore="wash", title="Wash", when="10:00"),
        plant=SLOW_FRIDGE, lasts=6 * HOUR, tick=MINUTE,
    ),
    Staged(
        what="a chamber stays locked out after the work",
        tells=(Told(Kind.LOCKED_OUT),),
        goes_wrong=lambda scene: scene.ask(LockOut, chamber="ale"),
        plant=SLOW_FRIDGE, lasts=8 * HOUR, tick=MINUTE,
    ),
    Staged(
        what="a task is declared and not ended",
        tells=(Told(Kind.TASK_DECLARED),),
        goes_wrong=lambda scene: scene.ask(DeclareTask, chamber="ale", until=scene.stage.now + 12 * HOUR),
        plant=SLOW_FRIDGE, lasts=8 * HOUR, tick=MINUTE,
    ),
    Staged(
        what="a chamber is out of use and forgotten",
        tells=(Told(Kind.OUT_OF_USE),),
        goes_wrong=lambda scene: scene.plant_file(HEAD + fridge(every="5 min", more="in_use: false")),
        long=True, plant=HEAD + fridge(every="5 min"), lasts=16 * DAY, tick=MINUTE,
    ),
    Staged(
        what="the supervisor crashes",
        tells=(Told(Kind.SERVICE_LOST),),
        goes_wrong=lambda scene: scene.kill(ServiceName.SUPERVISOR),
        plant=FRIDGE, lasts=HOUR,
    ),
    Staged(
        what="nothing passes the broker any more",
        tells=(Told(Kind.BROKER_LOST),),
        goes_wrong=lambda scene: scene.cut_the_bus(),
        plant=FRIDGE, lasts=HOUR,
    ),
    Staged(
        what="the store does not answer",
        tells=(Told(Kind.STORE_BEHIND),),
        goes_wrong=store_fails(StoreUnreachable("the store does not answer")),
        plant=FRIDGE, lasts=2 * HOUR,
    ),
    Staged(
        what="the disk is full",
        tells=(Told(Kind.DISK_FULL),),
        goes_wrong=store_fails(DiskFull("no room left on the disk")),
        plant=FRIDGE, lasts=HOUR,
    ),
    Staged(
        what="the clock is set by two hours",
        tells=(Told(Kind.CLOCK_WRONG),),
        goes_wrong=lambda scene: scene.set_clock(2 * HOUR),
        plant=FRIDGE, lasts=HOUR,
    ),
    Staged(
        what="a mistake is saved in the plant file",
        tells=(Told(Kind.PLANT_FILE_REFUSED),),
        goes_wrong=lambda scene: scene.plant_file(FRIDGE.replace("volume: 20 L", "volume: 20 parsec")),
        plant=FRIDGE, lasts=HOUR,
    ),
    Staged(
        what="the power is off for a while",
        tells=(Told(Kind.POWER_RETURNED, "the power is back", after(POWER_OFF)),),
        goes_wrong=lambda scene: scene.power_cut(for_=POWER_OFF),
        plant=FRIDGE, lasts=2 * HOUR,
    ),
)  # fmt: skip


def staged() -> frozenset[Kind]:
    """The kinds of which an incident tells."""
    return frozenset(told.kind for one in INCIDENTS for told in one.tells)


def play(incident: Staged) -> list[Detection]:
    """Plays one to its end."""
    return Scene(incident).run()


def play_one(number: int) -> list[Detection]:
    """Plays one by its place in the table."""
    return play(INCIDENTS[number])
