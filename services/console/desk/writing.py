"""Steps as a person writes them: the same keys and units as in a profile file, in the reader's own units."""

from collections.abc import Callable, Mapping
from datetime import datetime
from io import StringIO
from typing import Any
from zoneinfo import ZoneInfo

from ruamel.yaml import YAML

from brewing import units
from schemas.ends import Ends, Trigger
from schemas.profiles import Profile, Step
from services.console.desk.forms import METRIC, Shown

_SPANS = ((86400, "d"), (3600, "h"), (60, "min"))
_ORDER = ("name", "hold", "to", "free_rise", "for", "until", "over", "rate", "not_before", "ends", "earliest", "latest")
"""What people write first."""
Writer = Callable[[Any, Shown, ZoneInfo], Any]


def temperature(celsius: float, shown: Shown = METRIC) -> str:
    """`18.5 degC` or `65.3 degF`, to a hundredth at the most."""
    unit = shown.get("degC", "degC")
    return f"{round(units.convert(celsius, 'degC', unit), 2):g} {unit}"


def difference(kelvins: float, shown: Shown = METRIC) -> str:
    """`0.5 K`, or `0.9 degF`."""
    return f"{round(kelvins * 1.8, 2):g} degF" if shown.get("K step") == "degF" else f"{round(kelvins, 3):g} K"


def span(seconds: float) -> str:
    """`3 d`, `36 h`, `90 min` or `20 s`: exactly, in the largest unit that is."""
    return next(
        (f"{seconds / size:g} {name}" for size, name in _SPANS if seconds and not seconds % size), f"{seconds:g} s"
    )


def moment(at: datetime, zone: ZoneInfo) -> str:
    """On the site's clocks, with the offset that makes it unmistakable."""
    return (at if at.tzinfo is None else at.astimezone(zone)).isoformat(timespec="minutes", sep=" ")


def step_data(step: Step, shown: Shown, zone: ZoneInfo) -> dict[str, Any]:
    """The keys that a person would write for this step, and no others."""
    found: dict[str, Any] = {}
    for name, info in type(step).model_fields.items():
        value = getattr(step, name)
        if name == "does" or value is None or value == info.default:
            continue
        found[info.alias or name] = _FIELDS.get(name, _as_it_is)(value, shown, zone)
    return dict(sorted(found.items(), key=lambda pair: _ORDER.index(pair[0]) if pair[0] in _ORDER else len(_ORDER)))


def ends_data(ends: Ends, shown: Shown, zone: ZoneInfo) -> Any:
    """What ends a step; one trigger stands by itself."""
    if len(ends.all_of) == 1 and not ends.any_of:
        return _trigger_data(ends.all_of[0], zone)
    lists = {"all": ends.all_of, "any": ends.any_of}
    return {key: [_trigger_data(one, zone) for one in triggers] for key, triggers in lists.items() if triggers}


def profile_text(profile: Profile, shown: Shown, zone: ZoneInfo) -> str:
    """A whole profile as a file."""
    head: dict[str, Any] = {"profile": profile.profile, "about": profile.about}
    if profile.yeast_attenuation_percent is not None:
        head["yeast_attenuation"] = f"{profile.yeast_attenuation_percent:g} %"
    if profile.begins_within_s != Profile.model_fields["begins_within_s"].default:
        head["begins_within"] = span(profile.begins_within_s)
    steps = [step_data(step, shown, zone) for step in profile.steps]
    return as_yaml({key: value for key, value in head.items() if value} | {"steps": steps})


def as_yaml(data: Any) -> str:
    """YAML in which short lists and mappings that hold no others stand on one line."""
    writer, stream = YAML(), StringIO()
    writer.default_flow_style = False
    writer.width = 110
    writer.dump(data, stream)
    return stream.getvalue()


def in_one_line(data: Any) -> str:
    """YAML's flow style, as in `{any: [{elapsed: 4 d}]}`."""
    writer, stream = YAML(), StringIO()
    writer.default_flow_style = True
    writer.width = 4000
    writer.dump(data, stream)
    return stream.getvalue().removesuffix("...\n").strip()


def _trigger_data(trigger: Trigger, zone: ZoneInfo) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, info in type(trigger).model_fields.items():
        value = getattr(trigger, name)
        if info.alias == "least_attenuation" and value == info.default:
            continue
        write = _TRIGGERS.get(name)
        found[info.alias or name] = value if write is None else write(value, zone)
    return found


def _as_it_is(value: Any, _shown: Shown, _zone: ZoneInfo) -> Any:
    return value


_FIELDS: Mapping[str, Writer] = {
    "hold_c": lambda value, shown, _: temperature(value, shown),
    "to_c": lambda value, shown, _: temperature(value, shown),
    "free_rise_c": lambda value, shown, _: temperature(value, shown),
    "alarm_above_c": lambda value, shown, _: temperature(value, shown),
    "alarm_below_c": lambda value, shown, _: temperature(value, shown),
    "tolerance_k": lambda value, shown, _: difference(value, shown),
    "for_s": lambda value, *_: span(value),
    "over_s": lambda value, *_: span(value),
    "earliest_s": lambda value, *_: span(value),
    "latest_s": lambda value, *_: span(value),
    "rate_k_per_h": lambda value, *_: f"{value:g} K/h",
    "pressure_bar": lambda value, *_: f"{value:g} bar",
    "until": lambda value, _, zone: moment(value, zone),
    "not_before": lambda value, _, zone: moment(value, zone),
    "ends": lambda value, shown, zone: ends_data(value, shown, zone),
}
_TRIGGERS: Mapping[str, Callable[[Any, ZoneInfo], Any]] = {
    "elapsed_s": lambda value, _: span(value),
    "within_tolerance_s": lambda value, _: span(value),
    "gravity_at_most_sg": lambda value, _: f"{value:.4g}" if value >= 1.1 else f"{value:.3f}",
    "attenuation_at_least_percent": lambda value, _: f"{value:g} %",
    "least_attenuation_percent": lambda value, _: f"{value:g} %",
    "gravity_stable": lambda value, _: {"within": value.within_sg, "over": span(value.over_s)},
    "at": moment,
    "reached": lambda value, _: {"batch": value.batch, "step": value.step},
}
