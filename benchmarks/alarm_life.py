"""Lives through four weeks with all services in virtual time, and judges each alarm by what really was."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import inf

from pydantic import BaseModel

from benchmarks.alarm_site import HOUR, SPAN, START, Incident, asked, batches, defrosts, incidents, site, weather
from schemas.alarms import Alarm, AlarmPhase
from schemas.base import SITE_WIDE, ServiceName
from schemas.conditions import kind_of
from schemas.contract import topic_for
from schemas.control import ChamberStatus
from schemas.journal import Health, Wellness
from schemas.plant import as_simulated
from schemas.requests import AcknowledgeAlarm, RequestBase, ResetAlarm
from services.notifier.catalogue import Definitions, standard_catalogue
from services.notifier.core import Notifier, NotifierState
from services.rehearsal.ensemble import Ensemble
from services.rehearsal.stage import Stage
from services.runtime.service import Outgoing
from services.simulator.core import Simulator, SimulatorState
from services.simulator.faults import FaultKind

TICK = timedelta(minutes=1)
CLOSE_TICK, CLOSELY_FOR = timedelta(seconds=10), timedelta(minutes=15)
"""When a vessel is filled, its probe jumps: that is lived through as quickly as probes speak in life."""
NEVER_S = 1e9
VISIT_EVERY = timedelta(hours=4)
HARM_K = 1.5
"""True beer so far from what is asked of it, at a setpoint that stands still ..."""
HARM_FOR = timedelta(hours=3)
"""... for so long, is harm: off flavours begin within hours (common practice, no source)."""
FROZEN_SHARE, COOKED_C = 0.01, 31.0
AROUND = timedelta(hours=8)
"""An alarm so long before a harm belongs to it."""
AFTER = timedelta(hours=4)
"""An alarm so long after an incident may still tell of it: delays, and a machine that has to prove itself."""
STANDS_K = 0.05
MOVING_K = 2.0
"""The same while the setpoint moves, or has only just stopped."""
ONSET_K = 0.75
"""Beer so far from what is asked of it has left its band, and harm begins."""


@dataclass(frozen=True, slots=True)
class Raised:
    """One alarm when it was announced."""

    at: datetime
    chamber: str
    name: str
    priority: str


@dataclass(frozen=True, slots=True)
class Harm:
    """Beer that really was harmed, from when on and until when."""

    chamber: str
    what: str
    begins: datetime
    ends: datetime


@dataclass(slots=True)
class Life:
    """What happened."""

    seed: int
    incidents: list[Incident]
    raised: list[Raised] = field(default_factory=list)
    harms: list[Harm] = field(default_factory=list)
    strays: list[Harm] = field(default_factory=list)
    onsets: dict[Incident, datetime] = field(default_factory=dict)
    span: timedelta = SPAN

    def answering(self, incident: Incident) -> Raised | None:
        """The first alarm that tells of an incident; None when there is none before its end and the time to respond."""
        limit = incident.ends + AROUND
        return next((one for one in self.raised if incident.begins <= one.at <= limit and tells(incident, one)), None)

    def nuisances(self) -> list[Raised]:
        """Alarms after which no harm would have followed: no incident of which they tell was on, and no beer of their
        chamber left its band soon after."""
        return [one for one in self.raised if not self._explained(one)]

    def _explained(self, one: Raised) -> bool:
        if any(
            tells(incident, one) and incident.begins <= one.at <= incident.ends + AFTER for incident in self.incidents
        ):
            return True
        near = [one.chamber, *_vessels_on(one.chamber)]
        return any(
            stray.chamber in near and stray.begins - AROUND <= one.at <= stray.ends + HOUR
            for stray in (*self.harms, *self.strays)
        )

    def missed(self) -> list[str]:
        """Harmful incidents and real harms of which no alarm told in time."""
        silent = [f"{one.what} at {one.chamber}" for one in self.incidents if one.harmful and not self.answering(one)]
        unheard = [
            f"{harm.what} at {harm.chamber}, {harm.begins:%d %b %H:%M}"
            for harm in self.harms
            if not any(
                one.chamber in (harm.chamber, "bath", SITE_WIDE) and harm.begins - AROUND <= one.at <= harm.ends
                for one in self.raised
            )
        ]
        return silent + unheard

    def chattering(self) -> list[tuple[str, str]]:
        """Alarms announced three times within an hour."""
        times: dict[tuple[str, str], list[datetime]] = defaultdict(list)
        for one in self.raised:
            times[one.chamber, one.name].append(one.at)
        return [key for key, at in times.items() if any(c - a < HOUR for a, c in zip(at, at[2:], strict=False))]

    def detections(self) -> list[tuple[Incident, Raised, float, float]]:
        """For each incident from which harm began: the alarm that told of it, seconds from harm's onset to it, and the
        share of the time to respond that had then gone by; nothing of it where it was told before."""
        rules = Definitions(site(), standard_catalogue())
        found = []
        for incident in self.incidents:
            told, onset = self.answering(incident), self.onsets.get(incident)
            if told is not None and onset is not None:
                delay_s = max(0.0, (told.at - onset).total_seconds())
                found.append((incident, told, delay_s, delay_s / rules(told.chamber, told.name).respond_within_s))
        return found

    def shares(self) -> list[float]:
        """The share of the time to respond that was gone at detection; infinite where harm came untold."""
        silent = [one for one in self.untold() if one in self.onsets and self._did_harm(one)]
        return [share for _, _, _, share in self.detections()] + [inf] * len(silent)

    def _did_harm(self, incident: Incident) -> bool:
        return incident.harmful or any(
            concerns(incident, one.chamber)
            and may_make(incident, one.what)
            and incident.begins <= one.begins < incident.ends
            for one in self.strays
        )

    def untold(self) -> list[Incident]:
        """Faults of which no alarm told, whether or not harm followed."""
        return [one for one in self.incidents if not self.answering(one)]


def tells(incident: Incident, one: Raised) -> bool:
    """Whether an alarm is one that tells of an incident."""
    return kind_of(one.name) in incident.told_as and one_is_near(incident, one)


def one_is_near(incident: Incident, one: Raised) -> bool:
    """Whether an alarm is of the site, or of a chamber that the incident concerns."""
    return one.chamber == SITE_WIDE or concerns(incident, one.chamber)


def may_make(incident: Incident, way: str) -> bool:
    """Whether it can make beer `too warm` or `too cold`: a dead heater is not to blame for what a power cut warms."""
    ways = {name for name in incident.told_as if name.startswith("beer-too-")}
    return not ways or f"beer-{way.replace(' ', '-')}" in ways


def concerns(incident: Incident, chamber: str) -> bool:
    """Whether a chamber is the incident's, or a vessel on its bath."""
    if incident.chamber in ("", chamber):
        return True
    described = site().chambers.get(chamber)
    return described is not None and getattr(described, "cooled_by", "") == incident.chamber


def live(seed: int, span: timedelta = SPAN, happenings: Sequence[Incident] | None = None, heat: bool = True) -> Life:
    """One life of the site. Somebody looks every four hours, acknowledges what stands and resets what has gone."""
    chosen = [one for one in (incidents(seed) if happenings is None else happenings) if one.begins < START + span]
    life = Life(seed, chosen, span=span)
    life.onsets = {one: one.begins for one in chosen if one.harmful}
    scene = _Scene(seed, life, heat)
    stage = scene.stage
    starts, closely_until = batches(seed), START
    while stage.now < START + span:
        while starts and starts[0][0] <= stage.now:
            closely_until = stage.now + CLOSELY_FOR
            stage.ask(asked(starts.pop(0)[1]))
        stage.tick = CLOSE_TICK if stage.now < closely_until else TICK
        scene.cut_and_restore()
        stage.now += stage.tick
        stage.step()
        scene.look()
    scene.close()
    return life


class Spells:
    """Times during which something was so with a chamber; short ones are passed over, but for spoilt beer."""

    def __init__(self, found: list[Harm], least: timedelta) -> None:
        self._found = found
        self._least = least
        self._open: dict[str, tuple[str, datetime]] = {}

    def see(self, chamber: str, what: str, now: datetime) -> None:
        """What is so now; nothing when empty."""
        before = self._open.get(chamber)
        if before is not None and before[0] != what:
            del self._open[chamber]
            if before[0] in ("frozen", "cooked") or now - before[1] >= self._least:
                self._found.append(Harm(chamber, *before, now))
        if what:
            self._open.setdefault(chamber, (what, now))


def _vessels_on(bath: str) -> list[str]:
    return [name for name, one in site().chambers.items() if getattr(one, "cooled_by", "") == bath]


class _Scene:
    """The stage with its person, its power cuts, and the truth."""

    def __init__(self, seed: int, life: Life, heat: bool) -> None:
        self._life = life
        self._plant = as_simulated(site())
        faults = [*(fault for one in life.incidents for fault in one.timed()), *defrosts()]
        self._ensemble = Ensemble(self._plant, seed, TICK, faults=faults)
        factories = dict(self._ensemble.factories())
        factories[ServiceName.NOTIFIER] = lambda kept: Notifier(
            self._plant, kept if isinstance(kept, NotifierState) else None, health_period_s=NEVER_S
        )

        def play(kept: BaseModel | None) -> Simulator:
            state = kept if isinstance(kept, SimulatorState) else None
            made = Simulator(self._plant, state, seed=seed, faults=faults, weather=lambda _: weather(seed, heat))
            self._ensemble.simulator = made
            return made

        factories[ServiceName.SIMULATOR] = play
        self.stage = Stage(self._plant.site.name, factories, START, tick=TICK)
        self.stage.witnesses.append(self._witness)
        self._statuses: dict[str, ChamberStatus] = {}
        self._settled: dict[str, tuple[float, datetime]] = {}
        self._harms = Spells(life.harms, HARM_FOR)
        self._strays = Spells(life.strays, timedelta(minutes=30))
        self._standing: dict[tuple[str, str], Alarm] = {}
        self._visited = START
        self._dark = False
        self._asked = 0

    def _witness(self, outgoing: Outgoing, now: datetime) -> None:
        body = outgoing.body
        if isinstance(body, ChamberStatus):
            self._statuses[body.chamber] = body
        elif isinstance(body, Alarm):
            before = self._standing.get((body.chamber, body.name))
            self._standing[body.chamber, body.name] = body
            announced = body.phase is AlarmPhase.UNACKNOWLEDGED
            if announced and (before is None or before.phase is not body.phase or before.at != body.at):
                self._life.raised.append(Raised(now, body.chamber, body.name, body.priority))

    def cut_and_restore(self) -> None:
        """In a power cut every service dies, and the plant lives on."""
        now = self.stage.now
        dark = any(
            one.begins <= now < one.ends
            for one in self._life.incidents
            if any(fault.kind is FaultKind.POWER_CUT for fault in one.faults)
        )
        if dark is self._dark:
            return
        self._dark = dark
        services = [name for name in self.stage.members if name is not ServiceName.SIMULATOR]
        for name in services:
            member = self.stage.members[name]
            if dark:
                member.kept = member.core.snapshot()
                self.stage.kill(name)
            else:
                self.stage.revive(name)
        for name in () if dark else services:
            well = Health(at=now, source=name, service=name, state=Wellness.RUNNING)
            self.stage.ask(Outgoing(topic_for(self._plant.site.name, well), well, retain=True))

    def look(self) -> None:
        """The truth at this minute, and every four hours a person."""
        now = self.stage.now
        for chamber, status in self._statuses.items():
            if chamber != "bath" and status.setpoint_c is not None:
                self._judge(chamber, status.setpoint_c, now)
        if now - self._visited >= VISIT_EVERY and not self._dark:
            self._visited = now
            self._visit()

    def _judge(self, chamber: str, setpoint_c: float, now: datetime) -> None:
        truth = self._ensemble.truth(chamber)
        settled = self._settled.get(chamber)
        if settled is None or abs(settled[0] - setpoint_c) > STANDS_K:
            self._settled[chamber] = settled = (setpoint_c, now)
        standing = now - settled[1] > 24 * HOUR
        off_k = truth.beer_c - setpoint_c
        astray = abs(off_k) > (ONSET_K if standing else MOVING_K)
        spoilt = "frozen" if truth.frozen > FROZEN_SHARE else "cooked" if truth.beer_c > COOKED_C else ""
        way = "too warm" if off_k > 0 else "too cold"
        if astray:
            self._begin_harm(chamber, way, now)
        self._harms.see(chamber, spoilt or (way if standing and abs(off_k) > HARM_K else ""), now)
        self._strays.see(chamber, way if astray else "", now)

    def _begin_harm(self, chamber: str, way: str, now: datetime) -> None:
        """Beer has left its band: whatever is wrong with its machine now does harm from here on."""
        for one in self._life.incidents:
            begun = one.begins <= now < one.ends and one not in self._life.onsets
            if begun and concerns(one, chamber) and may_make(one, way):
                self._life.onsets[one] = now

    def close(self) -> None:
        """What still goes on at the end counts, too."""
        for chamber in self._plant.chambers:
            self._harms.see(chamber, "", self.stage.now)
            self._strays.see(chamber, "", self.stage.now)

    def _visit(self) -> None:
        for alarm in list(self._standing.values()):
            if alarm.phase in (AlarmPhase.UNACKNOWLEDGED, AlarmPhase.RETURNED_UNACKNOWLEDGED):
                self._ask(AcknowledgeAlarm, alarm)
            elif alarm.phase is AlarmPhase.LATCHED_UNACKNOWLEDGED:
                self._ask(AcknowledgeAlarm, alarm)
                self._ask(ResetAlarm, alarm)
            elif alarm.phase is AlarmPhase.LATCHED_ACKNOWLEDGED:
                self._ask(ResetAlarm, alarm)

    def _ask(self, kind: type[RequestBase], alarm: Alarm) -> None:
        self._asked += 1
        fields: Mapping[str, object] = {"chamber": alarm.chamber, "name": alarm.name}
        request = kind.model_validate(
            {"at": self.stage.now, "source": "benchmark", "id": f"visit-{self._asked}", "client": "benchmark",
             "who": "a person", "why": "seen", **fields}
        )  # fmt: skip
        self.stage.ask(Outgoing(topic_for(self._plant.site.name, request), request))
