"""Contrast as WCAG 2.2 has it (success criteria 1.4.3 and 1.4.11), and colours that the colour-blind tell apart.

Relative luminance: WCAG 2.2, definition. Dichromats: Machado, Oliveira & Fernandes 2009, table 1, severity 1.0 (from
memory). Nothing on the board is told by colour alone, so what must differ is what lies side by side.
"""

import numpy as np
import pytest

from services.console.board.palette import LINES_ON, TEXT_ON, THEMES, style

TEXT, MARKS = 4.5, 3.0
SEEN_BY = {
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
}


def linear(colour: str) -> np.ndarray:
    """Linear light of red, green and blue."""
    parts = np.array([int(colour[index : index + 2], 16) / 255 for index in (1, 3, 5)])
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def luminance(light: np.ndarray) -> float:
    return float(light @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(one: np.ndarray, other: np.ndarray) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", THEMES)
def test_text_is_readable_wherever_it_stands(theme: str) -> None:
    colours = THEMES[theme]
    found = {pair: contrast(*(linear(colours[name]) for name in pair)) for pair in TEXT_ON}
    assert {pair: ratio for pair, ratio in found.items() if ratio < TEXT} == {}


@pytest.mark.parametrize("theme", THEMES)
def test_marks_stand_out_from_their_ground(theme: str) -> None:
    colours = THEMES[theme]
    found = {pair: contrast(*(linear(colours[name]) for name in pair)) for pair in LINES_ON}
    assert {pair: ratio for pair, ratio in found.items() if ratio < MARKS} == {}


@pytest.mark.parametrize("kind", SEEN_BY)
@pytest.mark.parametrize("theme", THEMES)
def test_neighbours_differ_for_the_colour_blind(theme: str, kind: str) -> None:
    matrix, colours = np.array(SEEN_BY[kind]), THEMES[theme]
    for one, other in (("compressor", "heater"), ("pump", "heater"), ("beer", "wanted"), ("wanted", "alarm")):
        seen = [np.clip(matrix @ linear(colours[name]), 0, 1) ** (1 / 2.4) for name in (one, other)]
        assert float(np.linalg.norm(seen[0] - seen[1])) > 0.15, (one, other)


def test_both_themes_name_the_same_colours() -> None:
    assert THEMES["light"].keys() == THEMES["dark"].keys()
    assert style().count("--ground:") == 2
