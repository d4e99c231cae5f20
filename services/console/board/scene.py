"""What is drawn of a chamber, and how it is looked at."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from services.console.board.curve import Curve, nothing
from services.console.board.forecast import Forecast
from services.console.board.programme import Corner, Stretch
from services.console.board.runs import Mark, Run
from services.console.board.window import Window
from services.console.units import Units


@dataclass(frozen=True, slots=True)
class Limit:
    """A value that is not to be passed, and what it is."""

    value_c: float
    words: str


@dataclass(frozen=True, slots=True)
class Lane:
    """What is known of a chamber in a window. Temperatures in degC; `gap_ms` is how long silence is no gap."""

    title: str
    beer: Curve = field(default_factory=nothing)
    wanted: Curve = field(default_factory=nothing)
    tolerance: Curve = field(default_factory=nothing)
    tolerance_k: float = 0.5
    ahead: Sequence[Corner] = ()
    forecast: Forecast | None = None
    ran: dict[str, list[Run]] = field(default_factory=dict)
    marks: Sequence[Mark] = ()
    steps: Sequence[Stretch] = ()
    limits: Sequence[Limit] = ()
    gap_ms: int = 180_000


@dataclass(frozen=True, slots=True)
class View:
    """How it is looked at."""

    window: Window
    now_ms: int
    zone: ZoneInfo
    units: Units
    width_px: float = 1000.0
    difference: bool = False
