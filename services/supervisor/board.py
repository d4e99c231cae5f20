"""All that is known of one chamber, and one look at it: facts for the interlocks, a sight for control."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import inf
from typing import Any

from schemas.base import iso
from schemas.plant import Chamber, Drive, Point
from schemas.telemetry import ReadingBase, Report
from services.runtime.service import Outgoing
from services.supervisor.asked import Asked, Bounds, bounds, temperature
from services.supervisor.commission import Course
from services.supervisor.control import Controller, Decision, Rules, Sight, Want, Waypoint
from services.supervisor.deadband import Deadband
from services.supervisor.facts import Facts
from services.supervisor.findings import Commissioned, CourseKept
from services.supervisor.gauges import highest
from services.supervisor.guards import Verdict
from services.supervisor.knowledge import Known, known
from services.supervisor.lessons import MISTEACHING, Lessons
from services.supervisor.model import shape_for
from services.supervisor.outlets import Lease, Outlet, outlets_of
from services.supervisor.roles import Bars
from services.supervisor.seen import Seen
from services.supervisor.sides import temperatures_of
from services.supervisor.trips import Interlock, Trips


@dataclass(frozen=True, slots=True)
class LockedOut:
    """Who keeps a chamber off, why, and until when (None: until cleared)."""

    who: str
    why: str
    since: datetime
    until: datetime | None

    def words(self) -> str:
        """For people."""
        end = f"until {iso(self.until)}" if self.until is not None else "until cleared"
        return f"Locked out by {self.who} since {iso(self.since)}, {end}" + (f": {self.why}" if self.why else ".")


def rules_of(chamber: Chamber, coolant_freezes_c: float | None) -> Rules:
    """What control needs to know of a chamber."""
    outputs = chamber.outputs.values()
    cooler = next((out for out in outputs if out.drives is Drive.COMPRESSOR), None)
    pumped = chamber.kind == "jacketed" and any(out.drives in (Drive.PUMP, Drive.VALVE) for out in outputs)
    heater = next((out for out in outputs if out.drives is Drive.HEATER), None)
    return Rules(
        kind=chamber.kind,
        volume_l=chamber.contents.volume_l,
        has_cooling=cooler is not None or pumped,
        has_heater=heater is not None,
        has_fan=chamber.output_that(Drive.FAN) is not None,
        has_air_probe=chamber.probe_at(Point.AIR) is not None,
        rest_s=cooler.rest_s if cooler else 0.0,
        run_s=cooler.run_s if cooler else 0.0,
        cooling_power_w=(cooler.power_w or None) if cooler else None,
        heater_power_w=(heater.power_w or None) if heater else None,
        coolant_freezes_at_c=coolant_freezes_c,
    )


class Board:
    """One chamber: its probes, outputs, setpoint, interlocks and control. Built for a plant file's block."""

    def __init__(
        self,
        site: str,
        name: str,
        chamber: Chamber,
        new_controller: Callable[[], Controller],
        table: Sequence[Interlock],
        lease: Lease,
    ) -> None:
        self.name = name
        self.chamber = chamber
        self.controller = new_controller()
        self.fallback = Deadband(rules_of(chamber, None))
        self.asked = Asked()
        self.lock: LockedOut | None = None
        self.course: Course | None = None
        self.cut_short: CourseKept | None = None
        self.commissioned: Commissioned | None = None
        self.outlets = outlets_of(site, name, chamber, lease)
        self.cooling = self._with_role(Bars.COOL)
        self.heating = self._with_role(Bars.HEAT)
        self.trips: Trips = Trips(table, chamber)
        self.facts = Facts()
        self.decision: Decision | None = None
        self.want: Want | None = None
        self.source: Board | None = None
        self.drawing: tuple[Board, ...] = ()
        self._new_controller = new_controller
        self._seen = Seen(chamber)
        self._lessons = Lessons()
        self._bounds_for: object = self
        self._bounds = bounds(chamber, None)

    def _with_role(self, role: Bars) -> tuple[Outlet, ...]:
        return tuple(outlet for outlet in self.outlets.values() if outlet.role == role)

    def take(self, reading: ReadingBase, now: datetime) -> bool:
        """Takes a reading in; says whether it must be acted on at once."""
        gauge = self._seen.gauges.get(reading.probe)
        return gauge is not None and gauge.take(reading, now)

    def hear(self, report: Report, now_s: float, now: datetime) -> None:
        """Takes in what the bridge says of an output."""
        outlet = self.outlets.get(report.output)
        if outlet is not None:
            outlet.hear(report, now_s, now)

    def recall(self, learnt: Mapping[str, Any]) -> None:
        """Control goes on from what was kept of its model; with its defaults where that cannot be read."""
        try:
            self.controller.restore(learnt)
        except (ArithmeticError, ValueError, LookupError, TypeError, AttributeError):
            self.controller = self._new_controller()

    def knowledge(self) -> tuple[Known, ...]:
        """What control has learnt of the chamber."""
        guesses = {} if self.chamber.kind == "reservoir" else shape_for(rules_of(self.chamber, None)).guesses
        return known(self.controller.snapshot(), {name: guess.spread for name, guess in guesses.items()})

    def release(self, now_s: float, now: datetime) -> list[Outgoing]:
        """Every output off, at once."""
        return [self._let_go(outlet, now_s, now) for outlet in self.outlets.values()]

    def part_from(self, fresh: Mapping[str, "Board"], now_s: float, now: datetime) -> list[Outgoing]:
        """Outputs off that a new plant file no longer has, or has otherwise."""
        heir = fresh.get(self.name)
        outputs = heir.chamber.outputs if heir is not None else {}
        left = [one for name, one in self.outlets.items() if outputs.get(name) != one.output]
        return [self._let_go(outlet, now_s, now) for outlet in left]

    def _let_go(self, outlet: Outlet, now_s: float, now: datetime) -> Outgoing:
        outlet.want(Verdict(0.0))
        return outlet.command(now_s, now, "The supervisor lets go of this output.")

    def bounds(self, now: datetime) -> Bounds:
        """How far the chamber may go now."""
        held = self.asked.current(now)
        if held is not self._bounds_for:
            self._bounds_for = held
            self._bounds = bounds(self.chamber, held)
        return self._bounds

    def bath_c(self, now: datetime) -> float | None:
        """The bath of a reservoir, of which others ask."""
        return self._seen.beer.reading(now) if self._seen.beer is not None else None

    def look(self, now_s: float, now: datetime) -> Facts:
        """Brings the facts up to date."""
        facts, seen = self.facts, self._seen
        facts.beer_c = beer_c = seen.beer.reading(now) if seen.beer is not None else None
        facts.air_c = air_c = seen.air.reading(now) if seen.air is not None else None
        facts.beer_lost = beer_c is None and seen.beer is not None
        facts.beer_doubtful = seen.beer is not None and not seen.beer.good
        facts.by_air = beer_c is None and air_c is not None and seen.air_may_steer
        facts.blind = beer_c is None and not facts.by_air
        facts.locked = self._is_locked(now)
        before = self._lessons.look(now_s, self.trips.tells_any(MISTEACHING), self.controller)
        if before is not None:
            self.recall(before)
        facts.unasked = self._unasked(now_s)
        self._look_at_limits(facts, now)
        self._look_at_outputs(facts, now_s)
        self._look_back(facts, now_s, beer_c if air_c is None else air_c)
        if seen.others:
            self._look_around(facts, now_s, now)
        self._set_urgency(facts)
        return facts

    def _unasked(self, now_s: float) -> float | None:
        if self.decision is None or self._lessons.doubted(now_s):
            return None
        return self.decision.estimate.unasked

    def _is_locked(self, now: datetime) -> bool:
        if self.lock is not None and self.lock.until is not None and self.lock.until <= now:
            self.lock = None
        return self.lock is not None

    def _look_at_limits(self, facts: Facts, now: datetime) -> None:
        limits, held = self.bounds(now), self.asked.current(now)
        wanted_c = temperature(held, self.chamber)
        facts.floor_c, facts.ceiling_c = limits.floor_c, limits.ceiling_c
        facts.air_ceiling_c = self.chamber.limits.air_highest_c
        facts.tolerance_k = held.tolerance_k if held is not None else 0.5
        facts.free_rise = held is not None and not held.may_heat
        facts.kept_above_c = held.alarm_below_c if held is not None else None
        facts.setpoint_c = allowed_c = self._within(wanted_c, limits)
        facts.setpoint_cut = wanted_c != allowed_c
        if self.drawing:
            self._look_at_vessels(facts, now, limits)
        elif self.source is not None:
            facts.source_c = self.source.bath_c(now)
            facts.source_low = self.source.facts.level_low

    def _within(self, wanted_c: float | None, limits: Bounds) -> float | None:
        if wanted_c is None:
            return None
        return min(max(wanted_c, limits.lowest_setpoint_c), limits.ceiling_c)

    def _look_at_vessels(self, facts: Facts, now: datetime, limits: Bounds) -> None:
        due = [board.want.bath_c for board in self.drawing if board.want is not None and board.want.by <= now]
        if due and facts.setpoint_c is not None:
            facts.setpoint_c = max(min(facts.setpoint_c, *due), limits.lowest_setpoint_c)
        facts.bath_wanted_c = max(min(due), limits.lowest_setpoint_c) if due else None
        draws = any(outlet.relay.level > 0.0 for board in self.drawing for outlet in board.cooling)
        facts.undrawn_s = 0.0 if draws else facts.undrawn_s + self._seen.passed_s

    def _look_at_outputs(self, facts: Facts, now_s: float) -> None:
        facts.cool_on_s = max((outlet.relay.on_for(now_s) for outlet in self.cooling), default=0.0)
        facts.cool_off_s = min((outlet.relay.off_for(now_s) for outlet in self.cooling), default=inf)
        heat_on_s = max((outlet.relay.on_for(now_s) for outlet in self.heating), default=0.0)
        facts.heat_off_s = min((outlet.relay.off_for(now_s) for outlet in self.heating), default=inf)
        self._seen.passes(now_s, heat_on_s > 0.0)
        facts.still_on = 0
        for outlet in self.outlets.values():
            if (
                outlet.device_says_on
                and outlet.relay.level <= 0.0
                and outlet.relay.off_for(now_s) <= 0.0
                and outlet.changed_at is not None
            ):
                facts.still_on |= outlet.role

    def _look_back(self, facts: Facts, now_s: float, felt_c: float | None) -> None:
        seen = self._seen
        if felt_c is not None:
            seen.cooled.note(facts.cool_on_s > 0.0, felt_c)
            seen.heated.note(seen.heats, felt_c)
            facts.cool_fall_k, facts.cool_recovery_k = seen.cooled.gain_k, seen.cooled.recovery_k
            facts.heat_rise_k, facts.heat_recovery_k = seen.heated.gain_k, seen.heated.recovery_k
        if seen.hour.note(now_s, felt_c, facts.beer_c, seen.heated_s):
            facts.felt_change_10min_k = seen.hour.felt_change(10)
            facts.beer_change_30min_k = seen.hour.beer_change(30)
            facts.beer_change_60min_k = seen.hour.beer_change(60)
            facts.heated_in_hour_s = seen.hour.heated_s()

    def _look_around(self, facts: Facts, now_s: float, now: datetime) -> None:
        seen = self._seen
        contact = highest(seen.contacts, now) == 1.0
        if self.chamber.kind == "reservoir":
            facts.level_low = contact
        elif contact:
            seen.opened_s = now_s if seen.opened_s is None else seen.opened_s
            facts.door_open_s, facts.door_shut_s = max(now_s - seen.opened_s, 0.001), 0.0
        else:
            facts.door_shut_s = facts.door_shut_s + seen.passed_s
            facts.door_open_s, seen.opened_s = 0.0, None
        facts.co2_ppm = highest(seen.co2, now) if seen.co2 else None
        facts.flow_l_min = highest(seen.flow, now) if seen.flow else None

    def _set_urgency(self, facts: Facts) -> None:
        seen = self._seen
        cools, heats = facts.cool_on_s > 0.0, seen.heats
        if seen.beer is not None:
            seen.beer.low = facts.floor_c if cools else -inf
            seen.beer.high = min(facts.ceiling_c, (facts.setpoint_c or inf) + 1.5) if heats else inf
        if seen.air is not None:
            seen.air.high = facts.air_ceiling_c if heats else inf

    def sight(self, facts: Facts, now_s: float, now: datetime) -> Sight | None:
        """What control is told; None when nobody asks for anything."""
        if facts.setpoint_c is None:
            return None
        held, seen, source = self.asked.current(now), self._seen, self.source
        rested_s = max(
            (out.relay.ends_s + out.times.rest_s - now_s for out in self.cooling if out.compressor), default=0.0
        )
        return Sight(
            now=now,
            setpoint_c=facts.setpoint_c,
            beer_c=facts.beer_c,
            air_c=facts.air_c,
            bath_c=facts.source_c,
            ambient_c=seen.room.reading(now) if seen.room is not None else None,
            door_open=facts.door_open_s > 0.0,
            cooling_on=facts.cool_on_s > 0.0,
            heating_on=seen.heats,
            fan_on=seen.fan is not None and self.outlets[seen.fan].relay.level > 0.0,
            ready_in_s=max(rested_s, 0.0) if facts.cool_on_s <= 0.0 else 0.0,
            rate_k_per_h=held.rate_k_per_h if held is not None else 0.0,
            ahead=self._ahead(now),
            freezes_at_c=self._bounds.freezes_at_c,
            wants=self._wants(facts, now) if self.drawing else (),
            may_heat=not self.trips.is_tripped("left-to-rise"),
            bath_reach=source.decision.estimate.bath if source is not None and source.decision is not None else None,
        )

    def guided(self, decision: Decision, now_s: float, now: datetime) -> Decision:
        """What a guided first run wishes instead of control, which goes on learning from what it sees."""
        course = self.course
        if course is None:
            return decision
        outlets = [self.outlets[name] for name in course.outputs]
        running = bool(outlets) and all(outlet.relay.level > 0.0 for outlet in outlets)
        seen = {name: self._seen.gauges[name].reading(now) for name in temperatures_of(self.chamber)}
        known = {name: value for name, value in seen.items() if value is not None}
        course.look(now_s, known, running, highest(self._seen.power, now), self.facts.off_k)
        if course.done:
            return decision
        cool, heat = course.wish
        return decision._replace(cool=cool, heat=heat, fan=max(cool, heat), why=course.says())

    def _ahead(self, now: datetime) -> tuple[Waypoint, ...]:
        held = self.asked.current(now)
        if held is None or not held.ahead:
            return ()
        limits, highest_c = self._bounds.lowest_setpoint_c, self._bounds.ceiling_c
        return tuple((way.at, min(max(way.temperature_c, limits), highest_c)) for way in held.ahead if way.at > now)

    def _wants(self, facts: Facts, now: datetime) -> tuple[Want, ...]:
        return tuple(board.want for board in self.drawing if board.want is not None)
