"""The kinds of condition, so that who sees one and who makes an alarm of it use one word.

A condition's name is its kind, or its kind, a hyphen and the probe or output it concerns: `probe-silent-beer`.
"""

from enum import StrEnum
from functools import lru_cache

LONGEST_NAME = 40


class ConditionKind(StrEnum):
    """What can be true of a chamber, or of the site, that a person may need to know."""

    PROBE_SILENT = "probe-silent"
    PROBE_IMPLAUSIBLE = "probe-implausible"
    PROBE_DRIFTING = "probe-drifting"
    OUTPUT_NOT_FOLLOWING = "output-not-following"
    BEER_TOO_WARM = "beer-too-warm"
    BEER_TOO_COLD = "beer-too-cold"
    BEER_NEAR_FREEZING = "beer-near-freezing"
    HEADING_OUT = "heading-out"
    AIR_TOO_HOT = "air-too-hot"
    DOOR_OPEN = "door-open"
    NOT_COOLING = "not-cooling"
    NOT_HEATING = "not-heating"
    RELAY_WELDED = "relay-welded"
    PUMP_WITHOUT_FLOW = "pump-without-flow"
    STARTING_TOO_OFTEN = "starting-too-often"
    RESERVOIR_TOO_WARM = "reservoir-too-warm"
    RESERVOIR_TOO_COLD = "reservoir-too-cold"
    RESERVOIR_LOW = "reservoir-low"
    CIRCUIT_NEAR_LIMIT = "circuit-near-limit"
    NO_TRUSTED_PROBE = "no-trusted-probe"
    LOCKED_OUT = "locked-out"
    STEP_OVERDUE = "step-overdue"
    STEP_LATE = "step-late"
    HAND_NEEDED = "hand-needed"
    CHORE_DUE = "chore-due"
    GRAVITY_STALLED = "gravity-stalled"
    NOT_BEGUN = "not-begun"
    PRESSURE_HIGH = "pressure-high"
    ROOM_CO2 = "room-co2"
    KEG_LOW = "keg-low"
    CYLINDER_LOW = "cylinder-low"
    LEAK = "leak"
    SERVICE_LOST = "service-lost"
    BROKER_LOST = "broker-lost"
    STORE_BEHIND = "store-behind"
    DISK_FULL = "disk-full"
    CLOCK_WRONG = "clock-wrong"
    PLANT_FILE_REFUSED = "plant-file-refused"
    POWER_RETURNED = "power-returned"
    TASK_DECLARED = "task-declared"
    OUT_OF_USE = "out-of-use"


def condition_name(kind: ConditionKind, subject: str = "") -> str:
    """The name a condition has in its topic; a subject whose name is long is cut to what a name may have."""
    return f"{kind}-{subject}"[:LONGEST_NAME].rstrip("-") if subject else str(kind)


@lru_cache(maxsize=4096)
def kind_of(name: str) -> ConditionKind | None:
    """The kind that a condition's name stands for, or None for a name of no kind known here."""
    found = [kind for kind in ConditionKind if name == kind or name.startswith(f"{kind}-")]
    return max(found, key=len, default=None)
