"""Pitching, keeping and growing yeast."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import yeast
from brewing.errors import OutOfRange


@pytest.mark.parametrize("kind", yeast.RATES)
def test_each_customary_rate_lies_within_its_custom(kind: str) -> None:
    rate = yeast.RATES[kind]
    assert rate.least <= rate.usual <= rate.most


@given(st.floats(1.0, 2000.0), st.floats(5.0, 25.0), st.floats(3e5, 2e6))
def test_the_rate_of_a_pitch_is_found_again(volume_l: float, plato: float, rate: float) -> None:
    cells = yeast.cells_needed(volume_l, plato, rate)
    assert yeast.pitched_rate(cells, volume_l, plato) == pytest.approx(rate, rel=1e-12)


@given(st.floats(0.0, 50.0), st.floats(0.1, 10.0), st.sampled_from(sorted(yeast.KEEPING)))
def test_yeast_only_dies_in_the_cold(days: float, more: float, kept_as: str) -> None:
    assert 0.0 < yeast.viability(days + more, kept_as) < yeast.viability(days, kept_as) <= 1.0


def test_a_liquid_pack_loses_about_a_fifth_in_a_month() -> None:
    """Common practice, no source."""
    assert 0.75 < yeast.viability(30.0) < 0.85


def test_dead_cells_make_a_slurry_larger() -> None:
    assert yeast.slurry_volume(100e9, 0.5) == pytest.approx(2.0 * yeast.slurry_volume(100e9))


def test_a_usual_pitch_is_about_a_third_of_a_gram_of_dry_yeast_a_litre() -> None:
    assert yeast.dry_grams_per_litre(yeast.cells_needed(19.0, 12.0, 0.75e6), 19.0) == pytest.approx(0.36)


@given(st.floats(1e9, 300e9), st.floats(0.5, 5.0))
def test_a_starter_neither_loses_cells_nor_outgrows_its_food_or_its_room(cells: float, volume_l: float) -> None:
    grown = yeast.grown(cells, volume_l)
    food = yeast.CELLS_PER_G_EXTRACT * yeast.extract_mass(volume_l, 9.0)
    assert cells <= grown <= cells + food
    assert grown <= max(cells, yeast.CROWDED_CELLS_PER_ML * volume_l * 1000.0) * 1.0000001


@given(st.floats(5e9, 200e9), st.floats(50e9, 300e9))
def test_the_steps_of_a_starter_follow_each_other_to_what_is_wanted(cells: float, wanted: float) -> None:
    steps = yeast.starter(cells, wanted, 2.0)
    reached = cells
    for step in steps:
        assert step.cells_before == reached
        assert step.volume_l <= 2.0
        assert step.cells_after <= 8.0 * step.cells_before * 1.0000001
        reached = step.cells_after
    assert reached >= wanted * 0.999999


def test_enough_yeast_needs_no_starter() -> None:
    assert yeast.starter(200e9, 150e9, 2.0) == ()


def test_a_vessel_too_small_for_the_starter_is_named() -> None:
    with pytest.raises(OutOfRange, match="use a larger vessel"):
        yeast.starter(50e9, 2000e9, 1.0)


@pytest.mark.parametrize(
    ("days", "kept_as"), [(-1.0, "liquid"), (400.0, "liquid"), (90.0, "slurry"), (float("nan"), "dry")]
)
def test_ages_without_custom_are_refused(days: float, kept_as: str) -> None:
    with pytest.raises(OutOfRange, match="age_days"):
        yeast.viability(days, kept_as)


def test_an_unknown_way_of_keeping_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match="liquid, slurry, dry"):
        yeast.viability(10.0, "in a jar")
