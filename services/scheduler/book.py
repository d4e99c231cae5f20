"""All batches and chambers: what may be done with them, and what each chamber is asked for.

A method either raises Refusal and has changed nothing, or has changed the book and returns what was decided.
"""

import json
from collections.abc import Iterable
from datetime import datetime

from schemas.batches import BatchPhase
from schemas.ends import Word
from schemas.plant import ChamberBase, Plant
from schemas.requests import (
    AbortBatch,
    ConfirmStep,
    EditSteps,
    FinishBatch,
    GoBack,
    HoldBatch,
    LogGravity,
    MoveBatch,
    ResumeBatch,
    SkipStep,
    StartBatch,
    StopBatch,
    StrikeGravity,
    TellGravity,
    TellProgramme,
)
from services.scheduler import edits, gravity_desk, progress
from services.scheduler.answers import Refusal
from services.scheduler.checks import Placing, refuse_impossible, refuse_waiting_in_a_circle
from services.scheduler.plan import Outlook
from services.scheduler.records import BatchRecord, Decision, PendingEdit
from services.scheduler.states import FINAL, Event, NotAllowed, phase_after
from services.scheduler.words import degrees

ENDED_KEPT = 100
ENTRIES_TOLD = 60


class Book:
    """Batches by name. `resting` is what a chamber goes on holding after its last batch, degC."""

    def __init__(
        self, plant: Plant, batches: Iterable[BatchRecord] = (), resting: dict[str, float] | None = None
    ) -> None:
        self.plant = plant
        self.batches = {record.batch: record for record in batches}
        self.resting = dict(resting or {})

    def in_chamber(self, chamber: str) -> BatchRecord | None:
        """The batch that runs, or is held, there."""
        return next((one for one in self.batches.values() if one.active and one.chamber == chamber), None)

    def reached(self, batch: str, step: str) -> datetime | None:
        """When a batch came to a step; a batch that has ended is past all its steps."""
        record = self.batches.get(batch)
        if record is None:
            return None
        names = [one.name for one in record.profile.steps]
        index = names.index(step) if step in names else len(names)
        begun = [past.began for past in record.past if past.index >= index]
        if record.run is not None and record.run.index >= index:
            begun.append(record.run.began)
        return min(begun, default=record.ended)

    def start(self, request: StartBatch, now: datetime) -> list[Decision]:
        """Enters a batch; it begins with the next `advance` that finds its time come and its chamber free."""
        if request.batch in self.batches:
            raise Refusal(f"there is a batch {request.batch} already", "choose another name")
        begins = request.begins or now
        if begins < now:
            raise Refusal(f"{begins:%d %b %Y %H:%M} UTC is past", "name a time to come, or none to begin at once")
        if request.begins is None:
            self._refuse_occupied(request.chamber)
        record = BatchRecord(
            batch=request.batch, title=request.title or request.batch, chamber=request.chamber,
            profile=request.profile, begins=begins, original_gravity_sg=request.original_gravity_sg,
        )  # fmt: skip
        self._refuse_unsound(record, begins)
        self._keep(record)
        return [Decision("batch-entered", request.why, now, request.batch, request.chamber, request.who)]

    def rests_at(self, chamber: str) -> float | None:
        """What an empty chamber holds, degC; None when nobody has said."""
        own = self.plant.chambers[chamber].hold_c if chamber in self.plant.chambers else None
        return self.resting.get(chamber, own)

    def begin_waiting(self, now: datetime, awake_since: datetime) -> list[Decision]:
        """Begins batches whose time has come and whose chamber is free."""
        decisions: list[Decision] = []
        for record in list(self.batches.values()):
            if self._may_begin(record, now):
                from_c = self.resting.pop(record.chamber, self.plant.chambers[record.chamber].hold_c)
                begun, told = progress.begin(record.but(asked_c=from_c), now, awake_since)
                self._keep(begun)
                decisions += told
        return decisions

    def advance(self, batch: str, outlook: Outlook, now: datetime) -> list[Decision]:
        """Takes one batch as far as it goes."""
        record, decisions = progress.advance(self.batches[batch], outlook, now)
        if record is not self.batches[batch]:
            self._keep(record)
        return decisions

    def hold(self, request: HoldBatch, now: datetime) -> list[Decision]:
        """Stops the programme's clock."""
        return self._told(*progress.hold(self._batch(request.batch, Event.HOLD), now, request.why), who=request.who)

    def resume(self, request: ResumeBatch, now: datetime) -> list[Decision]:
        """Lets it go on."""
        record = self._batch(request.batch, Event.RESTART)
        return self._told(*progress.resume(record, now, request.why), who=request.who)

    def skip(self, request: SkipStep, now: datetime) -> list[Decision]:
        """Ends the running step now; a held batch must go on first."""
        record = self._running(request.batch)
        record, decisions = progress.end_step(record, now, now, f"because {request.who} skips it")
        return self._told(record, *decisions, who=request.who)

    def stop(self, request: StopBatch, now: datetime) -> list[Decision]:
        """Ends a batch before its time; one that waits is never begun."""
        record = self._known(request.batch)
        if record.phase is BatchPhase.IDLE:
            record = record.but(phase=phase_after(record.phase, Event.START, Event.STOP), ended=now, why=request.why)
            told = Decision("batch-withdrawn", request.why, now, record.batch, record.chamber)
            return self._told(record, told, who=request.who)
        return self._conclude(request, Event.STOP, "batch-stopped", now)

    def abort(self, request: AbortBatch, now: datetime) -> list[Decision]:
        """Gives a batch up; its chamber goes back to its own temperature where it has one."""
        decisions = self._conclude(request, Event.ABORT, "batch-aborted", now)
        chamber = self.batches[request.batch].chamber
        own = self.plant.chambers[chamber].hold_c if chamber in self.plant.chambers else None
        if own is not None:
            self.resting[chamber] = own
        return decisions

    def finish(self, request: FinishBatch, now: datetime) -> list[Decision]:
        """Completes a batch, whatever steps were left."""
        return self._conclude(request, Event.DONE, "batch-completed", now)

    def go_back(self, request: GoBack, now: datetime) -> list[Decision]:
        """Begins the step before the running one anew."""
        record = self._running(request.batch)
        index = -1 if record.run is None else record.run.index
        if index < 1:
            raise Refusal(f"{record.batch} is at its first step", "there is nothing to go back to")
        record, decision = progress.enter(progress.leave(record, now), index - 1, now)
        return self._told(record, decision, who=request.who)

    def confirm(self, request: ConfirmStep, now: datetime) -> list[Decision]:
        """Takes a person's word where the running step asks for one."""
        record = self._running(request.batch)
        asked = word_asked(record)
        if not asked:
            raise Refusal(f"{record.batch} waits for nobody's word now", "skip the step to end it")
        told = Decision("word-given", f"{request.who} says: {asked}", now, record.batch, record.chamber)
        return self._told(record.but_run(word=now), told, who=request.who)

    def edit(self, request: EditSteps, now: datetime) -> list[Decision]:
        """Replaces the remaining steps, now or from a moment on; checked now, and again when it takes effect."""
        record = self._known(request.batch)
        moment = request.effective or now
        if moment < now:
            raise Refusal(f"{moment:%d %b %Y %H:%M} UTC is past", "name a time to come, or none for at once")
        edit = PendingEdit(at=moment, first=request.first, steps=request.steps, who=request.who, why=request.why)
        edited = self._edited(record, edit, now)
        if moment == now:
            return self._told(edited, edits.told_of(edited, edit, now), who=request.who)
        pending = tuple(sorted((*record.edits, edit), key=lambda one: one.at))
        why = f"from {moment:%d %b %H:%M} UTC on: {request.why}"
        told = Decision("edit-planned", why, now, record.batch, record.chamber)
        return self._told(record.but(edits=pending), told, who=request.who)

    def programme(self, request: TellProgramme) -> dict[str, float | str]:
        """What a batch goes through, as it stands now: the answer's facts."""
        record = self._known(request.batch)
        first = len(record.profile.steps) if record.phase in FINAL else 0
        return {
            "profile": record.profile.model_dump_json(exclude_defaults=True),
            "open": float(first if record.run is None else record.run.index),
        }

    def measured(self, request: TellGravity) -> dict[str, float | str]:
        """What was entered by hand, latest last: the answer's facts."""
        entries = [one for one in self._known(request.batch).gravity.points if one.hand][-ENTRIES_TOLD:]
        told = [one.model_dump(mode="json", include={"entry", "at", "sg", "by", "mark"}) for one in entries]
        return {"entries": json.dumps(told)}

    def apply_edits(self, now: datetime) -> list[Decision]:
        """Edits whose moment has come; one that fits no longer is dropped, with the reason."""
        decisions: list[Decision] = []
        for record in [one for one in self.batches.values() if one.edits and one.edits[0].at <= now]:
            edit, rest = record.edits[0], record.edits[1:]
            try:
                edited = self._edited(record, edit, now).but(edits=rest)
                decisions += self._told(edited, edits.told_of(edited, edit, now), who=edit.who)
            except Refusal as refusal:
                dropped = Decision("edit-dropped", str(refusal), now, record.batch, record.chamber)
                decisions += self._told(record.but(edits=rest), dropped, who=edit.who)
        return decisions

    def move(self, request: MoveBatch, now: datetime) -> list[Decision]:
        """The beer stands in another chamber; the one it leaves goes on holding what it held."""
        record = self._known(request.batch)
        if record.phase in FINAL:
            raise Refusal(f"{record.batch} is {record.phase}", "only a batch under way can be moved")
        self._refuse_occupied(request.chamber)
        first = 0 if record.run is None else record.run.index
        refuse_impossible(self._placing(record.but(chamber=request.chamber), now, first))
        if record.active and record.asked_c is not None:
            self.resting[record.chamber] = record.asked_c
            self.resting.pop(request.chamber, None)
        told = Decision("batch-moved", f"{record.chamber} to {request.chamber}", now, record.batch, request.chamber)
        return self._told(record.but(chamber=request.chamber), told, who=request.who)

    def log_gravity(self, request: LogGravity, now: datetime) -> list[Decision]:
        """Takes a measurement by hand in, corrected for the sample's temperature."""
        return self._told(*gravity_desk.entered(self._known(request.batch), request, now), who=request.who)

    def strike_gravity(self, request: StrikeGravity, now: datetime) -> list[Decision]:
        """An entry by hand counts no longer."""
        return self._told(*gravity_desk.struck(self._known(request.batch), request, now), who=request.who)

    def ask_temperature(self, chamber: str, temperature_c: float) -> None:
        """Raises Refusal where a chamber is unknown or must not have that temperature."""
        limits = self._chamber(chamber).limits
        if not limits.lowest_c <= temperature_c <= limits.highest_c:
            allowed = f"{degrees(limits.lowest_c)} to {degrees(limits.highest_c)}"
            raise Refusal(f"{degrees(temperature_c)} lies outside {chamber}'s {allowed}", "ask for one within")

    def _may_begin(self, record: BatchRecord, now: datetime) -> bool:
        free = record.chamber in self.plant.chambers and self.in_chamber(record.chamber) is None
        return record.phase is BatchPhase.IDLE and record.begins <= now and free

    def _conclude(
        self, request: StopBatch | AbortBatch | FinishBatch, event: Event, told_as: str, now: datetime
    ) -> list[Decision]:
        record = self._batch(request.batch, event)
        return self._told(*progress.conclude(record, event, told_as, request.why, now), who=request.who)

    def _edited(self, record: BatchRecord, edit: PendingEdit, now: datetime) -> BatchRecord:
        changed = edits.edited(record, edit, now)
        running = 0 if record.run is None else record.run.index
        self._refuse_unsound(changed, max(now, edit.at), max(edit.first, running))
        return changed

    def _refuse_unsound(self, record: BatchRecord, now: datetime, first: int = 0) -> None:
        refuse_impossible(self._placing(record, now, first))
        refuse_waiting_in_a_circle(record, {**self.batches, record.batch: record})

    def _placing(self, record: BatchRecord, now: datetime, first: int) -> Placing:
        chamber, gravity = self._chamber(record.chamber), record.original_gravity_sg
        return Placing(record.profile, record.chamber, chamber, self.plant.zone, now, gravity, first)

    def _chamber(self, name: str) -> ChamberBase:
        chamber = self.plant.chambers.get(name)
        if chamber is None:
            raise Refusal(f"there is no chamber {name}", f"name one of {', '.join(self.plant.chambers)}")
        return chamber

    def _refuse_occupied(self, chamber: str) -> None:
        there = self.in_chamber(chamber)
        if there is not None:
            raise Refusal(f"{there.batch} is in {chamber}", "stop, finish or move it first")

    def _known(self, batch: str) -> BatchRecord:
        record = self.batches.get(batch)
        if record is None:
            raise Refusal(f"there is no batch {batch}", "see `coldside batch list`")
        return record

    def _batch(self, batch: str, event: Event) -> BatchRecord:
        record = self._known(batch)
        try:
            phase_after(record.phase, event)
        except NotAllowed as error:
            raise Refusal(str(error)) from error
        return record

    def _running(self, batch: str) -> BatchRecord:
        record = self._known(batch)
        if record.phase is not BatchPhase.RUNNING:
            raise Refusal(f"{batch} is {record.phase}", "resume it first" if record.phase is BatchPhase.HELD else "")
        return record

    def _told(self, record: BatchRecord, *decisions: Decision, who: str) -> list[Decision]:
        self._keep(record)
        return [
            Decision(one.event, one.why, one.at, one.batch, one.chamber, one.who or who, one.facts) for one in decisions
        ]

    def _keep(self, record: BatchRecord) -> None:
        self.batches[record.batch] = record
        if record.phase in FINAL:
            if record.asked_c is not None and record.started is not None:
                self.resting[record.chamber] = record.asked_c
            ended = [one for one in self.batches.values() if one.phase in FINAL]
            for old in ended[:-ENDED_KEPT]:
                del self.batches[old.batch]


def word_asked(record: BatchRecord) -> str:
    """What a person is asked in the running step and has not yet said; empty when nothing."""
    step, run = record.step, record.run
    if step is None or run is None or step.ends is None or run.word is not None:
        return ""
    return next((trigger.word for trigger in step.ends.triggers if isinstance(trigger, Word)), "")
