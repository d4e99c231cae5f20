"""How much yeast, how much of it is alive, and how to grow the rest."""

from brewing import gravity, yeast
from services.calc.question import Figure, Input, Question

VOLUME = Input("volume", "L", "wort to pitch")
ORIGINAL = Input("original_gravity", "SG", "gravity of the wort")
KIND = Input("kind", "1", "which custom of pitching: " + ", ".join(yeast.RATES), "ale", tuple(yeast.RATES))
CUSTOM = "common practice, no source"
BILLION = 1e9


def _pitch(volume: float, original_gravity: float, kind: str, viability: float) -> tuple[Figure, ...]:
    plato, rate = gravity.plato(original_gravity), yeast.RATES[kind]
    least, usual, most = (
        yeast.cells_needed(volume, plato, one) / BILLION for one in (rate.least, rate.usual, rate.most)
    )
    alive = viability / 100.0
    return (
        Figure("billion_cells", "living cells", usual, "billion", 0),
        Figure("least_billion_cells", "custom runs from", least, "billion", 0),
        Figure("most_billion_cells", "to", most, "billion", 0),
        Figure("dry_yeast_g", "as dried yeast", yeast.dry_mass(usual * BILLION), "g", 1),
        Figure("slurry_ml", "or as settled slurry", yeast.slurry_volume(usual * BILLION, alive), "mL", 0),
    )


def _living(cells: float, age: float, kept_as: str) -> tuple[Figure, ...]:
    share = yeast.viability(age, kept_as)
    return (
        Figure("billion_living", "still alive", cells / BILLION * share, "billion", 0),
        Figure("viability", "which is", 100.0 * share, "%", 0, _warning(share)),
    )


def _warning(share: float) -> str:
    return "count the cells or grow them first: less than half is alive" if share < 0.5 else ""


def _starter(cells: float, wanted: float, largest: float, gravity_of_starter: float) -> tuple[Figure, ...]:
    steps = yeast.starter(cells, wanted, largest, gravity.plato(gravity_of_starter))
    lines = [Figure(f"step_{n}", f"step {n}", _said(step)) for n, step in enumerate(steps, start=1)]
    final = steps[-1].cells_after if steps else cells
    ending = Figure("billion_cells", "ending with", final / BILLION, "billion", 0)
    return (Figure("steps", "steps", float(len(steps)), "", 0), *lines, ending)


def _said(step: yeast.Step) -> str:
    grown = step.cells_after / BILLION
    return f"{step.volume_l:.2f} L with {step.extract_g:.0f} g of extract, to {grown:.0f} billion"


QUESTIONS = (
    Question(
        name="pitch",
        asks="How much yeast does this wort want?",
        inputs=(VOLUME, ORIGINAL, KIND, Input("viability", "percent", "living share of a slurry", "90 %")),
        work=_pitch,
        formula="cells = rate x degP x mL; 1e10 living cells in a g dried, 1.2e9 in a mL of slurry",
        source=f"{CUSTOM}; textbooks often say 1e6 cells for each mL and degP",
        holds="ale 0.35-1.0, lager 1.0-2.0 million for each mL and degP",
    ),
    Question(
        name="living-cells",
        asks="How many cells are still alive?",
        inputs=(
            Input("cells", "cell", "cells when fresh", "100e9 cells"),
            Input("age", "d", "time in the cold since then", "30 d"),
            Input("kept_as", "1", "how it was kept: " + ", ".join(yeast.KEEPING), "liquid", tuple(yeast.KEEPING)),
        ),
        work=_living,
        formula="a fixed share dies each day: liquid 0.7 %, slurry 2 %, dry 0.02 %",
        source=CUSTOM,
        holds="kept at about 4 degC; a count under the microscope is better",
    ),
    Question(
        name="starter",
        asks="Which starter grows enough yeast?",
        inputs=(
            Input("cells", "cell", "living cells at hand", "70e9 cells"),
            Input("wanted", "cell", "living cells wanted", "200e9 cells"),
            Input("largest", "L", "largest starter that fits the vessel", "2 L"),
            Input("gravity_of_starter", "SG", "gravity of the starter wort", "1.036"),
        ),
        work=_starter,
        formula="1.33e9 new cells for each g of extract taken up, 65 % of it, until 200 million cells/mL",
        source="Balling 1865: 0.11 g of yeast from 2.0665 g of extract (published); 40 pg a cell from memory; custom",
        holds="stirred starters of 2 to 15 degP, at most eightfold a step",
        caution="leave headspace, never seal a working starter",
    ),
)
