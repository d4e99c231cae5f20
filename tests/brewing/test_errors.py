"""What is said of a figure that lies outside its range."""

import math

import pytest

from brewing.errors import OutOfRange, check


def test_a_value_at_either_end_of_its_range_is_taken() -> None:
    assert check("plato", 0.0, 0.0, 30.0, "degP") == 0.0
    assert check("plato", 30, 0.0, 30.0, "degP") == 30.0


def test_the_error_names_argument_value_range_unit_and_remedy() -> None:
    with pytest.raises(OutOfRange) as caught:
        check("plato", 31.0, 0.0, 30.0, "degP", "dilute the wort")
    assert str(caught.value) == "plato is 31 degP, outside 0 to 30 degP; dilute the wort"
    assert (caught.value.argument, caught.value.value, caught.value.high) == ("plato", 31.0, 30.0)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_finite_number_is_refused_whatever_the_range(value: float) -> None:
    with pytest.raises(OutOfRange):
        check("plato", value, None, None, "degP")


@pytest.mark.parametrize(("low", "high", "said"), [(0.0, None, "below 0 L"), (None, 9.0, "above 9 L")])
def test_an_open_side_is_not_named(low: float | None, high: float | None, said: str) -> None:
    with pytest.raises(OutOfRange, match=said):
        check("volume_l", 10.0 if high else -1.0, low, high, "L")
