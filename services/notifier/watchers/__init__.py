"""What the notifier watches itself because no other service does; each watcher is pure and looks at one thing."""

from schemas.plant import Plant
from services.notifier.watchers.balance import BalanceWatch
from services.notifier.watchers.band import BandWatch
from services.notifier.watchers.expectation import ExpectationWatch
from services.notifier.watchers.finding import Finding, Watcher
from services.notifier.watchers.heading import HeadingWatch
from services.notifier.watchers.pressure import PressureWatch
from services.notifier.watchers.scales import ScaleWatch
from services.notifier.watchers.wandering import WanderWatch

__all__ = ["Finding", "Watcher", "watchers_for"]


def watchers_for(plant: Plant) -> tuple[Watcher, ...]:
    """A watcher of each kind for a plant."""
    return (
        BandWatch(plant),
        PressureWatch(plant),
        ScaleWatch(plant),
        WanderWatch(plant),
        HeadingWatch(plant),
        BalanceWatch(plant),
        ExpectationWatch(plant),
    )
