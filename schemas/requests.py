"""What a person can ask of a service, and how it answers. A request is idempotent by its id."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field, TypeAdapter

from schemas.base import Celsius, Finite, Instant, Message, Name, ServiceName, Text
from schemas.batches import SpecificGravity
from schemas.ends import LocalTimes
from schemas.people import DaySpan
from schemas.profiles import MOST_STEPS, Profile, Step

RequestId = Annotated[str, Field(pattern=r"^[A-Za-z0-9-]{1,64}$")]


class RequestBase(Message):
    """Who asks, why, and where the answer goes."""

    service: ClassVar[ServiceName]
    id: RequestId
    client: Name = Field(description="The answer goes to `reply/{client}/{id}`.")
    who: Text
    why: Text = ""


class StartBatch(RequestBase):
    """Puts a beer in a chamber and starts its profile."""

    service = ServiceName.SCHEDULER
    verb: Literal["start-batch"] = "start-batch"
    batch: Name
    title: Text = ""
    chamber: Name
    profile: Profile
    original_gravity_sg: SpecificGravity | None = None
    begins: Instant | None = Field(default=None, description="Waits in `idle` until then; None begins at once.")


class HoldBatch(RequestBase):
    """Stops the programme's clock; the setpoint stays where it is."""

    service = ServiceName.SCHEDULER
    verb: Literal["hold-batch"] = "hold-batch"
    batch: Name


class ResumeBatch(RequestBase):
    """Lets a held batch go on where it was."""

    service = ServiceName.SCHEDULER
    verb: Literal["resume-batch"] = "resume-batch"
    batch: Name


class SkipStep(RequestBase):
    """Ends the running step now."""

    service = ServiceName.SCHEDULER
    verb: Literal["skip-step"] = "skip-step"
    batch: Name


class StopBatch(RequestBase):
    """Ends a batch before its time; the chamber goes on holding the last setpoint."""

    service = ServiceName.SCHEDULER
    verb: Literal["stop-batch"] = "stop-batch"
    batch: Name


class AbortBatch(RequestBase):
    """Gives a batch up at once; the chamber goes back to what it holds when it is empty."""

    service = ServiceName.SCHEDULER
    verb: Literal["abort-batch"] = "abort-batch"
    batch: Name


class FinishBatch(RequestBase):
    """The beer is done, whatever steps were left; the chamber goes on holding the last setpoint."""

    service = ServiceName.SCHEDULER
    verb: Literal["finish-batch"] = "finish-batch"
    batch: Name


class GoBack(RequestBase):
    """Begins the step before the running one anew."""

    service = ServiceName.SCHEDULER
    verb: Literal["go-back"] = "go-back"
    batch: Name


class ConfirmStep(RequestBase):
    """A person's word, where the running step asks for it."""

    service = ServiceName.SCHEDULER
    verb: Literal["confirm-step"] = "confirm-step"
    batch: Name


class EditSteps(RequestBase):
    """Replaces the running step's rest and all that comes after, or only what comes after."""

    service = ServiceName.SCHEDULER
    verb: Literal["edit-steps"] = "edit-steps"
    batch: Name
    first: Annotated[int, Field(ge=0)] = Field(description="Index of the first step that is replaced.")
    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=MOST_STEPS)]
    effective: Instant | None = Field(default=None, description="From when on; None is at once.")


class TellProgramme(RequestBase):
    """A question, which changes nothing and stands in no journal: the programme that a batch goes through, whole.

    The answer's facts are `profile`, as JSON, and `open`: index of the first step that can still be changed.
    """

    service = ServiceName.SCHEDULER
    verb: Literal["tell-programme"] = "tell-programme"
    batch: Name


class MoveBatch(RequestBase):
    """The beer stands in another chamber now; its programme goes on there."""

    service = ServiceName.SCHEDULER
    verb: Literal["move-batch"] = "move-batch"
    batch: Name
    chamber: Name


class LogGravity(RequestBase):
    """A measurement by hand: what a hydrometer or a refractometer showed, uncorrected, and how warm the sample was."""

    service = ServiceName.SCHEDULER
    verb: Literal["log-gravity"] = "log-gravity"
    batch: Name
    hydrometer_sg: Annotated[float, Field(ge=0.98, le=1.17)] | None = None
    refractometer_brix: Annotated[float, Field(ge=0, le=40)] | None = None
    sample_c: Annotated[float, Field(ge=0, le=40)] = 20.0
    calibrated_c: Annotated[float, Field(ge=0, le=40)] = Field(default=20.0, description="Of the hydrometer.")
    taken: Instant | None = Field(default=None, description="When the sample was taken; None is now.")
    is_original: bool = Field(default=False, description="Of the wort, before the yeast.")
    replaces: RequestId | None = Field(default=None, description="The entry that this one corrects.")


class StrikeGravity(RequestBase):
    """An entry by hand was wrong; it is kept, and no longer counts."""

    service = ServiceName.SCHEDULER
    verb: Literal["strike-gravity"] = "strike-gravity"
    batch: Name
    entry: RequestId = Field(description="Id of the request that entered it.")


class TellGravity(RequestBase):
    """A question, which changes nothing: what was measured by hand of a batch's gravity.

    The answer's fact `entries` is JSON: for each its `entry` (the id to strike it by), `at`, `sg`, `by`, and `mark`,
    which says why it no longer counts and is empty when it does.
    """

    service = ServiceName.SCHEDULER
    verb: Literal["tell-gravity"] = "tell-gravity"
    batch: Name


class SetChore(RequestBase):
    """Something to be done again and again; for those that are known here the name is enough."""

    service = ServiceName.SCHEDULER
    verb: Literal["set-chore"] = "set-chore"
    chore: Name
    title: Text = ""
    when: LocalTimes | None = Field(default=None, description="Such as `Sat 10:00`, on the site's clocks.")
    every_s: Annotated[float, Field(ge=0, le=400 * 86400)] | None = Field(
        default=None, description="At the earliest so long after it was due last; 0 is at each such time."
    )
    instruction: Text = ""


class ClearChore(RequestBase):
    """It is to be done no more."""

    service = ServiceName.SCHEDULER
    verb: Literal["clear-chore"] = "clear-chore"
    chore: Name


class DoChore(RequestBase):
    """It has been done."""

    service = ServiceName.SCHEDULER
    verb: Literal["do-chore"] = "do-chore"
    chore: Name


class TellChores(RequestBase):
    """A question, which changes nothing: all chores, and the quiet hours.

    The answer's facts are `chores`, as JSON, `quiet` (empty for none) and `known`: names that are enough to set one.
    """

    service = ServiceName.SCHEDULER
    verb: Literal["tell-chores"] = "tell-chores"


class SetQuietHours(RequestBase):
    """Chores that come due in this part of the day are told when it ends; None is no quiet."""

    service = ServiceName.SCHEDULER
    verb: Literal["set-quiet-hours"] = "set-quiet-hours"
    span: DaySpan | None = Field(description="Such as `22:30-07:00`, on the site's clocks.")


class SetTemperature(RequestBase):
    """A person's own setpoint for a chamber, over whatever is programmed, until it expires."""

    service = ServiceName.SCHEDULER
    verb: Literal["set-temperature"] = "set-temperature"
    chamber: Name
    temperature_c: Celsius
    until: Instant | None = None


class ClearTemperature(RequestBase):
    """Takes a person's own setpoint back."""

    service = ServiceName.SCHEDULER
    verb: Literal["clear-temperature"] = "clear-temperature"
    chamber: Name


class AcknowledgeAlarm(RequestBase):
    """Somebody has seen it and sees to it."""

    service = ServiceName.NOTIFIER
    verb: Literal["acknowledge-alarm"] = "acknowledge-alarm"
    chamber: Name
    name: Name
    token: Annotated[Text, Field(pattern=r"^[A-Za-z0-9_.-]*$")] = Field(
        default="", description="From the link in a message: says who acknowledges, and which occurrence is meant."
    )


class ShelveAlarm(RequestBase):
    """Silences an alarm for a while, for a reason."""

    service = ServiceName.NOTIFIER
    verb: Literal["shelve-alarm"] = "shelve-alarm"
    chamber: Name
    name: Name
    until: Instant


class UnshelveAlarm(RequestBase):
    """Brings a shelved alarm back at once."""

    service = ServiceName.NOTIFIER
    verb: Literal["unshelve-alarm"] = "unshelve-alarm"
    chamber: Name
    name: Name


class ResetAlarm(RequestBase):
    """A person has looked at what a latched alarm was about, and closes it."""

    service = ServiceName.NOTIFIER
    verb: Literal["reset-alarm"] = "reset-alarm"
    chamber: Name
    name: Name


class TakeAlarmOutOfService(RequestBase):
    """Keeps an alarm silent without a time limit, as while a device is being replaced."""

    service = ServiceName.NOTIFIER
    verb: Literal["take-alarm-out-of-service"] = "take-alarm-out-of-service"
    chamber: Name
    name: Name


class ReturnAlarmToService(RequestBase):
    """Ends that."""

    service = ServiceName.NOTIFIER
    verb: Literal["return-alarm-to-service"] = "return-alarm-to-service"
    chamber: Name
    name: Name


class DeclareTask(RequestBase):
    """Somebody works at a chamber as on a brew day: its door is open on purpose until then."""

    service = ServiceName.NOTIFIER
    verb: Literal["declare-task"] = "declare-task"
    chamber: Name
    until: Instant


class EndTask(RequestBase):
    """The work is done."""

    service = ServiceName.NOTIFIER
    verb: Literal["end-task"] = "end-task"
    chamber: Name


class SendTestMessage(RequestBase):
    """A message to a person, by one of their ways or by all, to see whether it arrives."""

    service = ServiceName.NOTIFIER
    verb: Literal["send-test-message"] = "send-test-message"
    person: Name
    way: Name | None = None


class WriteNote(RequestBase):
    """Keeps what somebody says of a beer, and the scores given on tasting it, with the batch."""

    service = ServiceName.RECORDER
    verb: Literal["write-note"] = "write-note"
    batch: Name
    text: Annotated[str, Field(min_length=1, max_length=2000)]
    scores: dict[Name, Annotated[float, Field(ge=0, le=10)]] = Field(
        default={}, description="What was tasted and how good it was, 10 being best: aroma, flavour, overall."
    )


class LockOut(RequestBase):
    """Keeps every output of a chamber off while a person works on it."""

    service = ServiceName.SUPERVISOR
    verb: Literal["lock-out"] = "lock-out"
    chamber: Name
    until: Instant | None = None


class ClearLockOut(RequestBase):
    """Ends a lock-out."""

    service = ServiceName.SUPERVISOR
    verb: Literal["clear-lock-out"] = "clear-lock-out"
    chamber: Name


class ResetInterlock(RequestBase):
    """A person has looked at what tripped a latching interlock."""

    service = ServiceName.SUPERVISOR
    verb: Literal["reset-interlock"] = "reset-interlock"
    chamber: Name
    interlock: Name


class Commission(RequestBase):
    """A guided first run: moves each output of a chamber in turn and sees which probe answers, and how."""

    service = ServiceName.SUPERVISOR
    verb: Literal["commission"] = "commission"
    chamber: Name


class StopCommissioning(RequestBase):
    """Ends a guided first run before its time; ordinary control goes on."""

    service = ServiceName.SUPERVISOR
    verb: Literal["stop-commissioning"] = "stop-commissioning"
    chamber: Name


Request = (
    StartBatch
    | HoldBatch
    | ResumeBatch
    | SkipStep
    | StopBatch
    | AbortBatch
    | FinishBatch
    | GoBack
    | ConfirmStep
    | EditSteps
    | TellProgramme
    | MoveBatch
    | LogGravity
    | StrikeGravity
    | TellGravity
    | SetChore
    | ClearChore
    | DoChore
    | TellChores
    | SetQuietHours
    | SetTemperature
    | ClearTemperature
    | AcknowledgeAlarm
    | ShelveAlarm
    | UnshelveAlarm
    | ResetAlarm
    | TakeAlarmOutOfService
    | ReturnAlarmToService
    | DeclareTask
    | EndTask
    | SendTestMessage
    | WriteNote
    | LockOut
    | ClearLockOut
    | ResetInterlock
    | Commission
    | StopCommissioning
)
REQUEST: TypeAdapter[Request] = TypeAdapter(Annotated[Request, Field(discriminator="verb")])


class Accepted(Message):
    """The request was carried out, or was so already."""

    outcome: Literal["accepted"] = "accepted"
    id: RequestId
    detail: Text = ""
    facts: dict[str, Finite | str | bool] = {}


class Refused(Message):
    """The request changed nothing, and why."""

    outcome: Literal["refused"] = "refused"
    id: RequestId
    reason: Text
    remedy: Text = ""


Reply = Accepted | Refused
REPLY: TypeAdapter[Reply] = TypeAdapter(Annotated[Reply, Field(discriminator="outcome")])
