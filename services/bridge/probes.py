"""A probe as the bridge keeps it: raw payloads in, readings out, and whether it is silent or hard to believe."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime

from pydantic import ValidationError

from schemas.alarms import Condition
from schemas.base import ServiceName
from schemas.conditions import ConditionKind
from schemas.plant import Measure, Probe
from schemas.telemetry import READING_MODELS, VALUE_FIELDS, Quality, Reading
from schemas.topics import TopicKind, topic
from services.bridge.calibration import correction
from services.bridge.conditions import finding_of
from services.bridge.drivers import probe_line
from services.bridge.drivers.driver import Garbled, Payload, Place, Trouble
from services.bridge.plausibility import Judge, Verdict

IMPLAUSIBLE_AFTER_S = 30.0
"""So long, and through two readings at least, without a good one among those that come."""
BELIEVED_AGAIN_AFTER = 3
_LEFT_OVER = Verdict(Quality.UNCERTAIN, Trouble.RETAINED, "kept by the broker, of unknown age")


class ProbeChannel:
    """One probe. Times in seconds are of the machine's counter."""

    def __init__(self, place: Place, probe: Probe, elapsed_s: float) -> None:
        self.place = place
        self.probe = probe
        self.line = probe_line(place, probe)
        self.topic = topic(place.site, TopicKind.READING, place.chamber, place.name)
        self.last: Reading | None = None
        self.silent = finding_of(place, ConditionKind.PROBE_SILENT)
        self.implausible = finding_of(place, ConditionKind.PROBE_IMPLAUSIBLE)
        self._correct = correction(probe.calibration, probe.measures)
        self._judge = Judge(place.name, probe)
        self._model = READING_MODELS[probe.measures]
        self._field = VALUE_FIELDS[probe.measures]
        self._silent_after_s = probe.stale_after.total_seconds() if _speaks_regularly(probe) else float("inf")
        self._implausible_after_s = max(IMPLAUSIBLE_AFTER_S, 2 * probe.every_s)
        self._heard_s = self._good_s = elapsed_s
        self._heard = False
        self._good_in_a_row = 0

    def described_as(self, other: "ProbeChannel") -> bool:
        """Whether the plant file says the same of both."""
        return (self.place, self.probe) == (other.place, other.probe)

    def take(
        self,
        payload: Payload,
        retained: bool,
        now: datetime,
        elapsed_s: float,
        driven_since_s: float | None,
        counts: Counter[str],
    ) -> Reading:
        """The reading that a raw payload makes, whatever is in it; `counts` gets the kind of trouble."""
        try:
            sample = self.line.read(payload)
        except Garbled as error:
            counts[error.trouble] += 1
            return self._say(None, Verdict(Quality.BAD, error.trouble, str(error)), now, elapsed_s, retained)
        value = sample.value if self._correct is None else self._correct(sample.value)
        if retained and sample.at is None:
            verdict = _LEFT_OVER
        else:
            verdict = self._judge.judge(value, sample, now, elapsed_s, driven_since_s)
        if verdict.trouble is not None:
            counts[verdict.trouble] += 1
        return self._say(value, verdict, now if sample.at is None else sample.at, elapsed_s, retained)

    def is_due(self, elapsed_s: float) -> bool:
        """Whether `conditions` could find anything: a probe that was good at its last word is left alone."""
        settled = self.silent.settled and self.implausible.settled
        return not settled or self._heard_s != self._good_s or elapsed_s - self._heard_s > self._silent_after_s

    def conditions(self, now: datetime, elapsed_s: float) -> Iterator[Condition]:
        """What has begun or ended since the last look."""
        if elapsed_s - self._heard_s > self._silent_after_s:
            what = f"nothing heard for {self._silent_after_s:.0f} s; look at its power and wiring"
            yield from self.silent.begin(now, what)
        elif self._heard:
            yield from self.silent.end(now, "heard again")
        if self._good_in_a_row >= BELIEVED_AGAIN_AFTER:
            yield from self.implausible.end(now, "plausible again")
        elif self._heard_s - self._good_s > self._implausible_after_s and self.last is not None:
            yield from self.implausible.begin(now, self.last.reason or "no plausible value")

    def _say(self, value: float | None, verdict: Verdict, at: datetime, elapsed_s: float, retained: bool) -> Reading:
        if not retained:
            self._heard_s, self._heard = elapsed_s, True
        if verdict.quality is Quality.GOOD:
            self._good_s = elapsed_s
            self._good_in_a_row += 1
        else:
            self._good_in_a_row = 0
        self.last = self._reading(value, verdict, at)
        return self.last

    def _reading(self, value: float | None, verdict: Verdict, at: datetime) -> Reading:
        try:
            return self._built(value if self._field != "is_open" or value is None else value > 0.5, verdict, at)
        except ValidationError:
            reason = f"{value:g}: {verdict.reason}" if verdict.reason else f"{value:g} is impossible"
            return self._built(None, Verdict(Quality.BAD, Trouble.RANGE, reason), at)

    def _built(self, value: float | bool | None, verdict: Verdict, at: datetime) -> Reading:
        return self._model(
            at=at,
            source=ServiceName.BRIDGE,
            chamber=self.place.chamber,
            probe=self.place.name,
            quality=verdict.quality,
            reason=verdict.reason,
            **{self._field: value},
        )


def _speaks_regularly(probe: Probe) -> bool:
    """A contact may speak only when it changes, unless the plant file says how often it does."""
    return probe.measures is not Measure.CONTACT or bool({"every_s", "silent_after_s"} & probe.model_fields_set)
