"""What is said when a figure lies outside the range in which its formula holds."""

import math


class OutOfRange(ValueError):
    """Names the argument, its value, the range (`None` where a side is open) and, where there is one, the remedy."""

    def __init__(
        self, argument: str, value: float, low: float | None, high: float | None, unit: str, remedy: str = ""
    ) -> None:
        self.argument, self.value, self.low, self.high = argument, value, low, high
        self.unit, self.remedy = unit, remedy
        said = f"{argument} is {value:g} {unit}".rstrip() + f", {_range(low, high)} {unit}".rstrip()
        super().__init__(f"{said}; {remedy}" if remedy else said)


def check(argument: str, value: float, low: float | None, high: float | None, unit: str, remedy: str = "") -> float:
    """The value as a float when it lies within the range, ends included; OutOfRange otherwise, and if not finite."""
    number = float(value)
    above_low = low is None or number >= low
    below_high = high is None or number <= high
    if math.isfinite(number) and above_low and below_high:
        return number
    raise OutOfRange(argument, number, low, high, unit, remedy)


def _range(low: float | None, high: float | None) -> str:
    if low is None and high is None:
        return "not a finite number of"
    if low is None:
        return f"above {high:g}"
    if high is None:
        return f"below {low:g}"
    return f"outside {low:g} to {high:g}"
