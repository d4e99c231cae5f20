"""A step on its way through a form: fields of text, checked as a profile file is, each complaint beside its field."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from ruamel.yaml.error import YAMLError

from schemas.profiles import Profile, RampStep, Step
from schemas.written import WrittenError, build, read
from services.console.desk.forms import METRIC, Shown
from services.console.desk.writing import as_yaml, ends_data, in_one_line, step_data, temperature

KINDS = {"hold": "holds a temperature", "to": "moves to a temperature", "free_rise": "warms by itself up to"}
"""What a step can do, by the key that says so."""
OWN_ENDS = {
    "hold": {"for": "after a time", "until": "at a date and time"},
    "to": {"over": "when it is there, after", "rate": "when it is there, moving by"},
    "free_rise": {},
}
"""How a step of a kind can end without a trigger."""
ENDS = {
    "attenuation_at_least": "at an attenuation of at least",
    "gravity_at_most": "at a gravity of at most",
    "gravity_stable": "when gravity has been stable for",
    "next": "at the next local time",
    "word": "when somebody says yes to",
    "within_tolerance": "after so long within its band",
    "elapsed": "after a time",
    "at": "at a date and time",
    "not_before": "at the first local time",
    "reached": "with a step of another batch",
    "written": "as written out",
    "by hand": "when somebody moves it on",
}
"""What can end a step, by the key of its trigger; `written` is for several together."""
SUCH_AS = {
    "for": "3 d", "until": "2030-05-03 18:00", "over": "24 h", "rate": "1 K/h", "attenuation_at_least": "65 %",
    "gravity_at_most": "1.012", "gravity_stable": "48 h", "next": "Fri 18:00", "word": "Is the dry hop out?",
    "within_tolerance": "2 d", "elapsed": "3 d", "at": "2030-05-03 18:00", "not_before": "Sat 08:00",
    "reached": "{batch: 41-oat-pale, step: crash}", "written": "{any: [{attenuation_at_least: 60 %}, {elapsed: 4 d}]}",
}  # fmt: skip
SAID = {
    "for": "for {}", "until": "until {}", "over": "within {}", "rate": "by {}", "by hand": "until somebody moves it on",
    "attenuation_at_least": "until {} of attenuation", "gravity_at_most": "until gravity is {} or less",
    "gravity_stable": "until gravity has been stable for {}", "next": "until {}", "word": "until somebody says: {}",
    "within_tolerance": "until {} within its band", "elapsed": "for {}", "at": "until {}", "not_before": "until {}",
    "reached": "until another batch is at {}", "written": "until {}",
}  # fmt: skip
DOES = {"hold": "holds {}", "to": "moves to {}", "free_rise": "warms by itself, up to {}"}
MORE = ("tolerance", "earliest", "latest", "when_late", "alarm_above", "alarm_below", "pressure", "instruction")


@dataclass(frozen=True, slots=True)
class Draft:
    """What stands in the form of one step. `more` are the optional fields, empty where nothing is said."""

    name: str = ""
    kind: str = "hold"
    target: str = ""
    ends: str = "for"
    value: str = "3 d"
    more: Mapping[str, str] = field(default_factory=dict)

    def but(self, **changes: Any) -> "Draft":
        """The same with other text in some fields; a kind that cannot end so gets an end that it can have."""
        changed = replace(self, **changes)
        if changed.ends in ends_for(changed.kind):
            return changed
        first = next(iter(ends_for(changed.kind)))
        return replace(changed, ends=first, value=SUCH_AS[first])


class DraftError(ValueError):
    """A form that makes no step; `problems` has what is wrong by the field, the empty name for the whole."""

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__("; ".join(problems.values()))
        self.problems = dict(problems)


def words_of(draft: Draft) -> str:
    """`holds 18 °C until 65 % of attenuation`."""
    said = f"{DOES[draft.kind].format(draft.target)} {SAID[draft.ends].format(draft.value)}"
    return said.replace(" degC", " °C").replace(" degF", " °F")


def ends_for(kind: str) -> dict[str, str]:
    """How a step of a kind may end, in words, the usual first."""
    if kind == "to":
        return dict(OWN_ENDS["to"])
    told_already = ("elapsed", "at") if kind == "hold" else ()
    return {**OWN_ENDS[kind], **{key: said for key, said in ENDS.items() if key not in told_already}}


def draft_of(step: Step, shown: Shown, zone: ZoneInfo) -> Draft:
    """A step as it stands in the form."""
    data = step_data(step, shown, zone)
    kind = next(key for key in KINDS if key in data)
    ends, value = _end_of(step, data, shown, zone)
    more = {key: str(data[key]) for key in MORE if key in data}
    if isinstance(step, RampStep) and step.ends is not None:
        more["ends"] = in_one_line(ends_data(step.ends, shown, zone))
    if "not_before" in data:
        more["not_before"] = str(data["not_before"])
    return Draft(step.name, kind, str(data[kind]), ends, value, more)


def step_of(draft: Draft, shown: Shown, zone: ZoneInfo) -> Step:
    """The step that the form describes. Raises DraftError with a reason for each field that is wrong."""
    data = draft_data(draft, shown, zone)
    try:
        profile = build(Profile, read(as_yaml({"profile": "form", "steps": [data]}), "form"))
    except WrittenError as error:
        raise DraftError(_by_field(error, draft)) from error
    return profile.steps[0]


def draft_data(draft: Draft, shown: Shown, zone: ZoneInfo) -> dict[str, Any]:
    """The keys of a profile file that the form stands for. Raises DraftError for text that is no YAML."""
    unit = shown.get("degC", "degC")
    data: dict[str, Any] = {"name": draft.name.strip(), draft.kind: with_unit(draft.target, unit)}
    if draft.ends in OWN_ENDS[draft.kind]:
        data[draft.ends] = _own(draft.ends, draft.value, zone)
    elif draft.ends != "by hand":
        data["ends"] = _trigger(draft.ends, draft.value, zone)
    for key, said in draft.more.items():
        if said.strip():
            data[key] = _more(key, said, shown, zone)
    return data


def with_unit(typed: str, unit: str) -> str:
    """A bare number gets the unit; anything else stays as it was typed."""
    bare = typed.strip().replace(",", ".") if typed.count(",") <= 1 else typed.strip()
    try:
        float(bare)
    except ValueError:
        return typed.strip()
    return f"{bare} {unit}"


def _end_of(step: Step, data: Mapping[str, Any], shown: Shown, zone: ZoneInfo) -> tuple[str, str]:
    own = next((key for key in OWN_ENDS[next(key for key in KINDS if key in data)] if key in data), None)
    if own is not None:
        return own, str(data[own])
    if step.ends is None:
        return "by hand", ""
    written = ends_data(step.ends, shown, zone)
    key = next(iter(written))
    if len(written) > 1 or key in ("all", "any"):
        return "written", in_one_line(written)
    if key == "gravity_stable":
        usual = written[key]["within"] == 0.001
        return (key, str(written[key]["over"])) if usual else ("written", in_one_line(written))
    return key, in_one_line(written[key]) if key == "reached" else str(written[key])


def _own(key: str, value: str, zone: ZoneInfo) -> Any:
    if key == "until":
        return _local(value, zone)
    return with_unit(value, "K/h") if key == "rate" else value.strip()


def _trigger(key: str, value: str, zone: ZoneInfo) -> Any:
    if key == "written":
        return _flow(value, "value")
    if key == "reached":
        return {key: _flow(value, "value")}
    if key == "gravity_stable":
        return {key: {"within": 0.001, "over": value.strip()}}
    if key == "attenuation_at_least":
        return {key: with_unit(value, "%")}
    return {key: value.strip()}


def _more(key: str, said: str, shown: Shown, zone: ZoneInfo) -> Any:
    if key == "ends":
        return _flow(said, "ends")
    if key == "not_before":
        return _local(said, zone)
    warm = shown.get("degC", "degC")
    units = {"alarm_above": warm, "alarm_below": warm, "pressure": "bar", "tolerance": shown.get("K step", "K")}
    return with_unit(said, units[key]) if key in units else said.strip()


def _local(written: str, zone: ZoneInfo) -> str:
    """A time without an offset is meant on the site's clocks."""
    try:
        at = datetime.fromisoformat(written.strip())
    except ValueError:
        return written
    return (at.replace(tzinfo=zone) if at.tzinfo is None else at).isoformat()


def _flow(written: str, at: str) -> Any:
    try:
        return read(written, "form").data
    except (WrittenError, YAMLError) as error:
        raise DraftError({at: f"cannot be read: write it like '{SUCH_AS['written']}'"}) from error


def _by_field(error: WrittenError, draft: Draft) -> dict[str, str]:
    """Places such as `steps.0.for` belong to a field of the form."""
    found: dict[str, str] = {}
    for one in error.problems:
        if one.at.field == "steps":  # that the list lacks the step which another problem tells of
            continue
        parts = one.at.field.split(".")
        key = parts[2] if len(parts) > 2 else ""
        said = f"{one.problem}; {one.remedy}" if one.remedy else one.problem
        found.setdefault(_FIELD_OF.get(key, _place(key, draft)), said)
    if not draft.name.strip():
        found["name"] = "give the step a name"
    beside = {key: said for key, said in found.items() if key}
    return beside or found


_FIELD_OF = {"name": "name", "hold": "target", "to": "target", "free_rise": "target"}


def _place(key: str, draft: Draft) -> str:
    if key in draft.more:
        return key
    return "value" if key in (draft.ends, "ends", "for", "until", "over", "rate") else ""


def unfinished(shown: Shown = METRIC) -> Draft:
    """What the form of a new step begins with."""
    return Draft(target=temperature(18.0, shown))
