"""What a guided first run finds, in figures and in words."""

from collections.abc import Sequence
from enum import StrEnum

from schemas.base import Finite, Instant, Model, Name, Text
from services.supervisor.knowledge import Known

_FIGURES = {"lag_s", "lag_sd_s", "rate_k_per_h", "rate_sd_k_per_h", "power_w"}


class Verdict(StrEnum):
    """How a trial ended."""

    ANSWERED = "answered"
    OPPOSITE = "opposite"
    OTHER_PROBE = "other-probe"
    SILENT = "silent"
    HELD_BACK = "held-back"
    STOPPED = "stopped"


class Trial(Model):
    """What one side of control was seen to do. Rates are of the probe that should answer, against its drift before."""

    does: Text
    outputs: tuple[Name, ...]
    probe: Name
    verdict: Verdict
    lag_s: Finite | None = None
    lag_sd_s: Finite | None = None
    rate_k_per_h: Finite | None = None
    rate_sd_k_per_h: Finite | None = None
    power_w: Finite | None = None
    says: Text


class Commissioned(Model):
    """The result of a guided first run; `model` is what is known of the chamber since."""

    chamber: Name
    who: Text
    began: Instant
    ended: Instant
    trials: tuple[Trial, ...]
    model: tuple[Known, ...] = ()
    note: Text = ""

    def facts(self) -> dict[str, float | str | bool]:
        """The figures, for the journal: one verdict an output, what was measured of it, and the model's."""
        found: dict[str, float | str | bool] = {}
        for trial in self.trials:
            name = "-".join(trial.outputs)
            found[f"{name}.verdict"] = str(trial.verdict)
            figures = trial.model_dump(include=_FIGURES, exclude_none=True)
            found.update({f"{name}.{key}": round(value, 3) for key, value in figures.items()})
        for known in self.model:
            name = f"model.{known.name}"
            found |= {name: round(known.value, 3), f"{name}.sd": round(known.sd, 3)}
            found[f"{name}.learnt"] = round(known.learnt, 3)
        return found

    def text(self) -> str:
        """A short report for people."""
        head = f"{self.chamber}: guided first run by {self.who}, {self.began:%Y-%m-%d %H:%M} to {self.ended:%H:%M} UTC."
        return "\n".join((head, *(f"- {trial.says}" for trial in self.trials), *_advice(self.trials, self.note)))


class CourseKept(Model):
    """That a guided first run is under way; it does not outlive a restart, but its end is told."""

    who: Text
    began: Instant


def sentence(trial: Trial, other: str) -> str:
    does = trial.does[:1].upper() + trial.does[1:]
    if trial.verdict is Verdict.ANSWERED:
        return f"{does}: '{trial.probe}' answered{_figures(trial)}."
    return f"{does}: {_FINDINGS[trial.verdict].format(probe=trial.probe, other=other)}"


def _figures(trial: Trial) -> str:
    lag = f" after {trial.lag_s:.0f} s (give or take {trial.lag_sd_s:.0f})" if trial.lag_s is not None else ""
    rate = trial.rate_k_per_h
    speed = f", then {rate:+.1f} K/h (give or take {trial.rate_sd_k_per_h:.1f})" if rate is not None else ""
    return lag + speed + (f", taking {trial.power_w:.0f} W" if trial.power_w is not None else "")


_FINDINGS = {
    Verdict.OPPOSITE: "'{probe}' went the other way. Relays are swapped: put that right before anything else.",
    Verdict.OTHER_PROBE: "'{other}' answered before '{probe}'. They are swapped, or '{probe}' is in the wrong place.",
    Verdict.SILENT: "'{probe}' did not answer. The output is dead or unplugged, or the probe is somewhere else.",
    Verdict.HELD_BACK: "not tried to its end: guards or interlocks kept it off for too long, or cut it short.",
    Verdict.STOPPED: "not tried: stopped before its turn was over.",
}


def _advice(trials: Sequence[Trial], note: str) -> tuple[str, ...]:
    if note:
        return (note, *_advice(trials, ""))
    if all(trial.verdict is Verdict.ANSWERED for trial in trials):
        return ("Everything answered as it should.",)
    return ("Put right what is wrong and run it again.",)
