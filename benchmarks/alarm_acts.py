"""What goes wrong, as acts that a script strings together, and looks at the truth that say when harm begins."""

from collections.abc import Callable
from datetime import timedelta

from benchmarks.alarm_stage import Scene, falling
from schemas.profiles import Profile
from schemas.requests import SetTemperature, StartBatch
from schemas.written import build, read
from services.recorder.store import StoreError
from services.simulator.faults import FaultKind

ASTRAY_K = 0.75
"""Beer so far from its setpoint has left its band, and harm begins."""


def holds(temperature_c: float, chamber: str = "ale") -> Callable[[Scene], None]:
    """Somebody asks for a temperature."""
    return lambda scene: scene.ask(SetTemperature, chamber=chamber, temperature_c=temperature_c)


def shows(name: str, value: float) -> Callable[[Scene], None]:
    """A gauge stands at a value."""
    return lambda scene: scene.gauges.update({f"gear/{name}": lambda _: value})


def reads_ever_more(name: str, chamber: str, k_per_day: float) -> Callable[[Scene], None]:
    """A probe of our own in the beer: from now on it reads ever more beside the truth."""

    def drift(scene: Scene) -> None:
        begun_s = scene.elapsed_s
        scene.gauges[f"gear/{name}"] = lambda elapsed_s: (
            scene.truth_c(chamber) + k_per_day * (elapsed_s - begun_s) / 86400
        )

    return drift


def falls(name: str, from_: float, per_hour: float) -> Callable[[Scene], None]:
    """A gauge goes down evenly from now on."""
    return lambda scene: scene.gauges.update({f"gear/{name}": falling(from_, per_hour, scene.elapsed_s)})


def breaks(kind: FaultKind, chamber: str, *targets: str) -> Callable[[Scene], None]:
    """A fault of the simulated plant."""

    def fail(scene: Scene) -> None:
        for target in targets or ("",):
            scene.breaks(kind, chamber, target)

    return fail


def both(*acts: Callable[[Scene], None]) -> Callable[[Scene], None]:
    """One after the other."""

    def act_all(scene: Scene) -> None:
        for act in acts:
            act(scene)

    return act_all


def brews(steps: str, *, gravity_sg: float | None = None, head: str = "") -> Callable[[Scene], None]:
    """A batch of these steps is begun."""

    def begin(scene: Scene) -> None:
        profile = build(Profile, read(f"profile: staged\n{head}steps:\n{steps}", "profile.yaml"))
        scene.ask(StartBatch, batch="one", title="one", chamber="ale", profile=profile, original_gravity_sg=gravity_sg)

    return begin


def too_warm(chamber: str = "ale") -> Callable[[Scene], bool]:
    """The beer is truly too warm."""
    return lambda scene: scene.off_k(chamber) > ASTRAY_K


def too_cold(chamber: str = "ale") -> Callable[[Scene], bool]:
    """The beer is truly too cold."""
    return lambda scene: scene.off_k(chamber) < -ASTRAY_K


def astray(chamber: str = "ale") -> Callable[[Scene], bool]:
    """The beer is truly too warm or too cold."""
    return lambda scene: abs(scene.off_k(chamber)) > ASTRAY_K


def colder_than(limit_c: float, chamber: str = "ale") -> Callable[[Scene], bool]:
    """Beer or bath is truly that cold."""
    return lambda scene: scene.truth_c(chamber) <= limit_c


def after(delay: timedelta) -> Callable[[Scene], bool]:
    """So long after the fault."""
    return lambda scene: scene.begun is not None and scene.stage.now >= scene.begun + delay


def relay_follows(scene: Scene) -> None:
    """A relay that says back what it was told last."""
    scene.gauges["gear/heat/state"] = lambda _: float(scene.heard.get("gear/heat/set", b"0"))


def store_fails(error: StoreError) -> Callable[[Scene], None]:
    """From now on the store takes nothing."""

    def fail(scene: Scene) -> None:
        scene.disk.failing = error

    return fail
