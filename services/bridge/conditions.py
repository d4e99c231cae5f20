"""What the bridge finds wrong with a probe or output, said once when it begins and once when it ends."""

from collections.abc import Iterator
from datetime import datetime

from schemas.alarms import Condition
from schemas.base import ServiceName
from schemas.conditions import ConditionKind, condition_name
from services.bridge.drivers.driver import Place


class Finding:
    """One condition of one probe or output. `stated` is what was said of it last."""

    __slots__ = ("stated", "_chamber", "_name")

    def __init__(self, chamber: str, name: str) -> None:
        self._chamber = chamber
        self._name = name
        self.stated: Condition | None = None

    @property
    def key(self) -> str:
        """Unique within a site."""
        return f"{self._chamber}/{self._name}"

    @property
    def active(self) -> bool:
        """Whether it was last said to be true."""
        return self.stated is not None and self.stated.active

    @property
    def settled(self) -> bool:
        """Whether it was last said not to be true."""
        return self.stated is not None and not self.stated.active

    def begin(self, now: datetime, detail: str) -> Iterator[Condition]:
        """It is true: says so, unless that was said already."""
        if not self.active:
            yield self._state(True, now, detail)

    def end(self, now: datetime, detail: str) -> Iterator[Condition]:
        """It is not true: says so, unless that was said already."""
        if self.stated is None or self.stated.active:
            yield self._state(False, now, detail)

    def _state(self, active: bool, now: datetime, detail: str) -> Condition:
        self.stated = Condition(
            at=now,
            source=ServiceName.BRIDGE,
            chamber=self._chamber,
            name=self._name,
            active=active,
            since=now,
            detail=detail,
        )
        return self.stated


def finding_of(place: Place, kind: ConditionKind) -> Finding:
    """The finding of this kind for a probe or output."""
    return Finding(place.chamber, condition_name(kind, place.name))
