"""Who is hurt least by waiting: how urgent a chamber's wish is, when a circuit or a bath cannot serve all at once."""

from dataclasses import dataclass

_HALF_K = 0.7
"""An error of this size is half as urgent as can be."""
_ERROR_SHARE = 0.6
_PATIENCE_S = 2400.0


def urgency(error_k: float, waited_s: float) -> float:
    """0..1. Grows with the beer's error, and with waiting, so that whoever waits overtakes a larger error some day.

    A waiting share of four tenths is full after forty minutes: more than any two errors differ by once both are large.
    """
    error = abs(error_k)
    waiting = min(1.0, max(0.0, waited_s) / _PATIENCE_S)
    return _ERROR_SHARE * error / (error + _HALF_K) + (1.0 - _ERROR_SHARE) * waiting


@dataclass(slots=True)
class Wait:
    """How long a wish has gone unserved."""

    waited_s: float = 0.0

    def pass_time(self, seconds: float, wished: bool, served: bool) -> None:
        """Counts while something is wished for and not had."""
        self.waited_s = self.waited_s + seconds if wished and not served else 0.0
