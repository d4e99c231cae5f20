"""What must hold between the parts of a plant: each check is one row of a table and yields what it finds."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from schemas.addresses import MqttOutput, MqttProbe, OneWireProbe
from schemas.base import SITE_WIDE
from schemas.people import Mail
from schemas.plant import Drive, Jacketed, Measure, Plant, Point, Reservoir, point_of


@dataclass(frozen=True, slots=True)
class Finding:
    """Something wrong, or (`grave` false) merely unwise, at a field of the plant file."""

    field: tuple[str | int, ...]
    problem: str
    remedy: str
    grave: bool = True


def findings(plant: Plant) -> Iterator[Finding]:
    """Everything that the table below finds."""
    for check in CHECKS:
        yield from check(plant)


def _reserved_names(plant: Plant) -> Iterable[Finding]:
    if SITE_WIDE in plant.chambers:
        yield Finding(("chambers", SITE_WIDE), f"'{SITE_WIDE}' is reserved", "give the chamber another name")


def _cold_sources(plant: Plant) -> Iterable[Finding]:
    reservoirs = sorted(name for name, chamber in plant.chambers.items() if isinstance(chamber, Reservoir))
    for name, chamber in plant.chambers.items():
        if isinstance(chamber, Jacketed) and chamber.cooled_by not in reservoirs:
            what = "which is no reservoir" if chamber.cooled_by in plant.chambers else "which is no chamber here"
            what = "which is itself" if chamber.cooled_by == name else what
            remedy = f"name one of {', '.join(reservoirs)}" if reservoirs else "add a chamber of kind reservoir"
            yield Finding(("chambers", name, "cooled_by"), f"names '{chamber.cooled_by}', {what}", remedy)


def _circuits(plant: Plant) -> Iterable[Finding]:
    for chamber_name, chamber in plant.chambers.items():
        for name, output in chamber.outputs.items():
            field = ("chambers", chamber_name, "outputs", name)
            if output.circuit is None:
                continue
            circuit = plant.circuits.get(output.circuit)
            if circuit is None:
                known = ", ".join(plant.circuits) or "none is described"
                remedy = f"circuits here: {known}"
                yield Finding((*field, "circuit"), f"names '{output.circuit}', which is no circuit here", remedy)
            elif output.power_w / circuit.voltage_v > circuit.limit_a:
                amperes = output.power_w / circuit.voltage_v
                problem = f"draws {amperes:.1f} A alone, over the {circuit.limit_a:g} A limit of '{output.circuit}'"
                yield Finding((*field, "power"), problem, "put it on a stronger circuit or correct the power")


def _shared_topics(plant: Plant) -> Iterable[Finding]:
    seen: dict[str, str] = {}
    for chamber_name, chamber in plant.chambers.items():
        for name, output in chamber.outputs.items():
            if not isinstance(output.target, MqttOutput):
                continue
            topic, here = output.target.mqtt, f"{chamber_name}.{name}"
            if topic in seen:
                problem = f"'{topic}' already drives {seen[topic]}"
                yield Finding(
                    ("chambers", chamber_name, "outputs", name, "to", "mqtt"), problem, "use one topic an output"
                )
            seen[topic] = here


def _echoing_topics(plant: Plant) -> Iterable[Finding]:
    driven = {
        output.target.mqtt
        for chamber in plant.chambers.values()
        for output in chamber.outputs.values()
        if isinstance(output.target, MqttOutput)
    }
    for chamber_name, chamber in plant.chambers.items():
        for name, probe in chamber.probes.items():
            if isinstance(probe.source, MqttProbe) and probe.source.mqtt in driven:
                problem = f"'{probe.source.mqtt}' is a topic on which an output is driven"
                yield Finding(
                    ("chambers", chamber_name, "probes", name, "from", "mqtt"), problem, "name the device's own"
                )


def _shared_sensors(plant: Plant) -> Iterable[Finding]:
    ids = [
        (probe.source.onewire, chamber_name, name)
        for chamber_name, chamber in plant.chambers.items()
        for name, probe in chamber.probes.items()
        if isinstance(probe.source, OneWireProbe)
    ]
    count = Counter(sensor for sensor, _, _ in ids)
    for sensor, chamber_name, name in ids:
        if count[sensor] > 1:
            field = ("chambers", chamber_name, "probes", name, "from", "onewire")
            yield Finding(field, f"sensor {sensor} stands {count[sensor]} times", "give each probe its own sensor")


def _limits(plant: Plant) -> Iterable[Finding]:
    for name, chamber in plant.chambers.items():
        limits, field = chamber.limits, ("chambers", name, "limits")
        if limits.lowest_c >= limits.highest_c:
            problem = f"lowest {limits.lowest_c:g} degC is not below highest {limits.highest_c:g} degC"
            yield Finding(field, problem, "set 'lowest' below 'highest'")
        elif chamber.hold_c is not None and not limits.lowest_c <= chamber.hold_c <= limits.highest_c:
            problem = f"{chamber.hold_c:g} degC lies outside {limits.lowest_c:g} to {limits.highest_c:g} degC"
            yield Finding(("chambers", name, "hold"), problem, "change 'hold' or 'limits'")


def _calibrations(plant: Plant) -> Iterable[Finding]:
    for chamber_name, chamber in plant.chambers.items():
        for name, probe in chamber.probes.items():
            points = probe.calibration
            field = ("chambers", chamber_name, "probes", name, "calibration")
            if points and len(points.reads) != len(points.true):
                yield Finding(field, "has not as many 'true' as 'reads'", "give one or two pairs")
            elif points and len(set(points.reads)) != len(points.reads):
                yield Finding(field, "has two equal 'reads'", "calibrate at two different temperatures")


def _points(plant: Plant) -> Iterable[Finding]:
    for chamber_name, chamber in plant.chambers.items():
        taken: dict[Point, str] = {}
        for name, probe in chamber.probes.items():
            field = ("chambers", chamber_name, "probes", name)
            point = point_of(name, probe)
            if probe.measures is Measure.TEMPERATURE and point is None:
                yield Finding(field, "does not say where it is", "add 'at: beer' (or air, bath, line, room)")
            elif point in taken:
                yield Finding(field, f"is at the {point} like '{taken[point]}'", "give it another 'at'")
            elif point is not None:
                taken[point] = name


def _steerable(plant: Plant) -> Iterable[Finding]:
    for name, chamber in plant.chambers.items():
        wanted = (Point.BATH,) if isinstance(chamber, Reservoir) else (Point.BEER, Point.AIR)
        if not any(chamber.probe_at(point) for point in wanted):
            names = " or ".join(f"'{point}'" for point in wanted)
            yield Finding(
                ("chambers", name, "probes"), f"has no temperature probe {names}", "add one; it cannot be held"
            )
        if isinstance(chamber, Jacketed) and not (chamber.output_that(Drive.PUMP) or chamber.output_that(Drive.VALVE)):
            yield Finding(("chambers", name, "outputs"), "has neither pump nor valve", "add what moves the coolant")


def _spaces(plant: Plant) -> Iterable[Finding]:
    for chamber_name, chamber in plant.chambers.items():
        for name, probe in chamber.probes.items():
            if isinstance(probe.source, MqttProbe) and " " in probe.source.mqtt:
                field = ("chambers", chamber_name, "probes", name, "from", "mqtt")
                yield Finding(field, "has a space, which some brokers refuse", "rename the device's topic", grave=False)
        for name, output in chamber.outputs.items():
            if isinstance(output.target, MqttOutput) and " " in output.target.mqtt:
                field = ("chambers", chamber_name, "outputs", name, "to", "mqtt")
                yield Finding(field, "has a space, which some brokers refuse", "rename the device's topic", grave=False)


def _known_people(plant: Plant) -> Iterable[Finding]:
    known = [f"{person}.{way}" for person, one in plant.people.items() for way in one.ways]
    for number, route in enumerate(plant.notifier.routes):
        field = ("notifier", "routes", number)
        for member in route.to:
            if member not in known:
                remedy = f"write one of {', '.join(known)}" if known else "add a section 'people'"
                yield Finding((*field, "to"), f"names '{member}', which is nobody's way here", remedy)
        for chamber in route.chambers:
            if chamber not in plant.chambers and chamber != SITE_WIDE:
                remedy = f"chambers here: {', '.join(plant.chambers)}, {SITE_WIDE}"
                yield Finding((*field, "chambers"), f"names '{chamber}', which is no chamber here", remedy)


def _mail_has_a_server(plant: Plant) -> Iterable[Finding]:
    for name, person in plant.people.items():
        for way, address in person.ways.items():
            if isinstance(address, Mail) and plant.notifier.mail is None:
                field = ("people", name, "ways", way)
                yield Finding(field, "is a mail address, and no server takes our mail", "add 'notifier: {mail: ...}'")


def _reaches_somebody(plant: Plant) -> Iterable[Finding]:
    if plant.people and not any("critical" in route.priorities for route in plant.notifier.routes):
        problem, remedy = "nobody is told of what is critical", "add a route to somebody for it"
        yield Finding(("notifier",), problem, remedy, grave=False)


def _unbudgeted(plant: Plant) -> Iterable[Finding]:
    for chamber_name, chamber in plant.chambers.items():
        for name, output in chamber.outputs.items():
            if output.circuit and output.power_w == 0:
                field = ("chambers", chamber_name, "outputs", name)
                yield Finding(field, "is on a circuit but states no power", "add 'power: ... W'", grave=False)


CHECKS: tuple[Callable[[Plant], Iterable[Finding]], ...] = (
    _reserved_names,
    _cold_sources,
    _circuits,
    _shared_topics,
    _echoing_topics,
    _shared_sensors,
    _limits,
    _calibrations,
    _points,
    _steerable,
    _spaces,
    _unbudgeted,
    _known_people,
    _mail_has_a_server,
    _reaches_somebody,
)
