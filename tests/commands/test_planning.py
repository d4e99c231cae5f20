"""`coldside plan` and `coldside rehearse` as people, and programs, run them."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import services.cli

PLANT = """
site: {name: cellar, timezone: Europe/Dublin, price_per_kwh: 0.25}
chambers:
  fridge:
    kind: fridge
    contents: {volume: 20 L}
    probes: {beer: {measures: temperature, from: {simulated: true}}}
    outputs: {cool: {drives: compressor, to: {simulated: true}, power: 90 W}}
"""
MODEL = """
class Still:
    def __init__(self, situation):
        self.names = list(situation.plant.chambers)

    def advance(self, seconds, outputs):
        return {(name, "beer"): 12.0 for name in self.names}
"""


@pytest.fixture
def plant(tmp_path: Path) -> str:
    path = tmp_path / "plant.yaml"
    path.write_text(PLANT)
    return str(path)


def coldside(*words: str) -> Result:
    """In this process: starting another takes longer than most of what is asked here."""
    return CliRunner().invoke(services.cli.app, words, env={"COLUMNS": "160", "NO_COLOR": "1"})


def wishes(tmp_path: Path, text: str) -> str:
    path = tmp_path / "wishes.yaml"
    path.write_text(text)
    return str(path)


def test_beers_that_wait_are_planned_one_after_the_other(tmp_path: Path, plant: str) -> None:
    beers = "beers:\n  ale: {profile: ale, volume: 20 L}\n  bock: {profile: lager, volume: 18 L}\n"
    done = coldside("plan", wishes(tmp_path, beers), "--plant", plant, "--json")
    placed = json.loads(done.stdout)["placed"]
    assert done.exit_code == 0
    assert [one["chamber"] for one in placed] == ["fridge", "fridge"]
    assert placed[0]["ready"] <= placed[1]["begins"]


def test_wishes_that_clash_are_told_in_words_with_what_could_be_done(tmp_path: Path, plant: str) -> None:
    beers = "beers:\n  ale: {profile: ale, volume: 20 L, ready_by: 2020-01-01}\n"
    done = coldside("plan", wishes(tmp_path, beers), "--plant", plant)
    assert done.exit_code == 1
    assert "ale cannot be ready by 01 Jan 2020" in done.stdout
    assert "What could be done" in done.stdout


@pytest.mark.parametrize(
    ("beers", "words"),
    [
        ("beers: {}\n", "beers"),
        ("beers:\n  ale: {profile: nosuch, volume: 20 L}\n", "nosuch"),
        ("beers:\n  ale: {profile: ale, volume: 20}\n", "volume"),
        ("beers:\n  ale: {profile: ale, volume: 20 L, chambers: [attic]}\n", "there is no chamber attic"),
        ("free_from: {attic: 2026-12-01}\nbeers:\n  ale: {profile: ale, volume: 20 L}\n", "attic"),
    ],
)
def test_wishes_that_make_no_sense_are_refused_with_what_would_be_right(
    tmp_path: Path, plant: str, beers: str, words: str
) -> None:
    done = coldside("plan", wishes(tmp_path, beers), "--plant", plant)
    assert done.exit_code == 2
    assert words in done.stderr


def test_rehearsal_for_programs_prints_one_document_and_its_progress_apart(plant: str) -> None:
    done = coldside("rehearse", "serving", "--chamber", "fridge", "--plant", plant, "--days", "0.1", "--json")
    told = json.loads(done.stdout)
    shares = [json.loads(line)["progress"] for line in done.stderr.splitlines() if line.startswith('{"progress')]
    assert done.exit_code == 0
    assert told["cost"] == pytest.approx(0.25 * told["kwh"], abs=0.01)
    assert {"verdict", "curves", "batches", "conflicts", "interlocks", "identified"} <= told.keys()
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_plant_model_of_the_working_folder_is_played(
    plant: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "my_cellar.py").write_text(MODEL)
    monkeypatch.chdir(tmp_path)
    words = ("--plant", plant, "--plant-model", "my_cellar:Still", "--days", "0.1", "--json")
    told = json.loads(coldside("rehearse", "serving", "--chamber", "fridge", *words).stdout)
    assert {point[1] for point in told["curve"]} == {12.0}


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        ((), 2, "--with-plant-as-it-is"),
        (("ale",), 2, "--chamber"),
        (("ale", "--chamber", "fridge", "--plant-model", "nowhere"), 2, "cellar.model:build"),
        (("ale", "--chamber", "fridge", "--begins", "soon"), 2, "no date and time"),
        (("ale", "--chamber", "attic", "--original-gravity", "1.050"), 1, "there is no chamber attic"),
        (("--with-plant-as-it-is", "--broker", "mqtt://127.0.0.1:1"), 1, "no broker answers"),
    ],
)
def test_rehearsal_that_cannot_be_is_refused_with_the_reason(
    plant: str, words: tuple[str, ...], status: int, says: str
) -> None:
    done = coldside("rehearse", *words, "--plant", plant)
    assert done.exit_code == status
    assert says in done.stderr


def test_refusal_for_programs_is_a_document_too(plant: str) -> None:
    done = coldside("rehearse", "ale", "--chamber", "attic", "--plant", plant, "--json")
    assert done.exit_code == 1
    assert "there is no chamber attic" in json.loads(done.stdout)["refused"]
