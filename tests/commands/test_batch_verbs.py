"""What people do with batches and chores, from the command line, with a scheduler on a real broker."""

import json
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

import services.cli
from services.runtime.compose import Surroundings, build_host, run_until
from services.scheduler.__main__ import part
from tests.brokers import embedded_broker
from tests.scheduler.bench import PLANT
from tests.waiting import wait_until

STEPS = "steps:\n  - {name: warm, hold: 20 degC, for: 4 d}\n  - {name: cold, hold: 2 degC, for: 2 d}\n"


class Site:
    """A scheduler alone on a broker, and the commands that reach it."""

    def __init__(self, broker: str) -> None:
        self.place = ("--broker", broker)

    def run(self, *words: str) -> Result:
        """One command, in this process."""
        place = self.place if words[0] in ("rehearse", "plan") else (*self.place, "--site", "barn")
        return CliRunner().invoke(services.cli.app, [*words, *place], env={"COLUMNS": "200", "NO_COLOR": "1"})

    def told(self, *words: str) -> Any:
        """What it says to programs."""
        done = self.run(*words, "--json")
        assert done.exit_code == 0, done.stderr
        return json.loads(done.stdout)

    def until(self, name: str, true: Callable[[Any], bool], what: str) -> Any:
        """One batch, as soon as what is retained of it agrees: that follows the answer in its own time."""
        found: list[Any] = []

        def looks() -> bool:
            done = self.run("batch", "show", name, "--json")
            found[:] = [json.loads(done.stdout)] if done.exit_code == 0 else []
            return bool(found) and true(found[0])

        wait_until(looks, what, 60)
        return found[0]

    def batch(self, name: str) -> Any:
        """One batch as it stands."""
        return self.until(name, lambda _: True, f"{name} to be shown")

    def steps(self, name: str, wanted: list[str]) -> None:
        """Waits until a batch has these steps."""
        self.until(name, lambda one: [step["name"] for step in one["steps"]] == wanted, f"the steps {wanted}")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder = tmp_path_factory.mktemp("verbs")
    with embedded_broker(folder) as address:
        around = Surroundings(site="barn", broker=address, state_folder=folder)
        stop = threading.Event()
        thread = threading.Thread(target=run_until, args=(stop, [lambda: build_host(part(PLANT, folder), around)]))
        thread.start()
        made = Site(str(address))
        wait_until(lambda: made.run("chore", "list").exit_code == 0, "the scheduler to answer", 60)
        yield made
        stop.set()
        thread.join()


@pytest.fixture(scope="module")
def pale(site: Site, tmp_path_factory: pytest.TempPathFactory) -> str:
    profile = tmp_path_factory.mktemp("profile") / "pale.yaml"
    profile.write_text("profile: pale\nsteps:\n  - {name: warm, hold: 18 degC, for: 5 d}\n"
                       "  - {name: cold, hold: 2 degC, for: 3 d}\n  - {name: serve, hold: 4 degC}\n")  # fmt: skip
    started = site.run("batch", "start", "41-pale", "--chamber", "ale-fridge", "--profile", str(profile),
                       "--original-gravity", "1.050")  # fmt: skip
    assert started.exit_code == 0, started.stderr
    return "41-pale"


def test_batch_is_shown_with_its_steps_and_when_the_beer_is_cold(site: Site, pale: str) -> None:
    assert site.batch(pale)["steps"][1]["arrives"]
    wait_until(lambda: "beer there" in site.run("batch", "show", pale).stdout, "the table", 60)


def test_unknown_batch_cannot_be_shown(site: Site) -> None:
    done = site.run("batch", "show", "99-none")
    assert done.exit_code == 1
    assert "there is no batch 99-none" in done.stderr


def test_steps_to_come_are_replaced_from_a_file(site: Site, pale: str, tmp_path: Path) -> None:
    (tmp_path / "steps.yaml").write_text(STEPS)
    assert site.run("batch", "edit", pale, str(tmp_path / "steps.yaml")).exit_code == 0
    site.steps(pale, ["warm", "cold"])


def test_steps_are_replaced_from_a_named_one_on(site: Site, pale: str, tmp_path: Path) -> None:
    (tmp_path / "steps.yaml").write_text("steps:\n  - {name: colder, hold: 1 degC, for: 9 d}\n")
    assert site.run("batch", "edit", pale, str(tmp_path / "steps.yaml"), "--from", "cold").exit_code == 0
    site.steps(pale, ["warm", "colder"])


@pytest.mark.parametrize(
    ("written", "options", "status", "words"),
    [
        (STEPS, ("--from", "nosuch"), 2, "there is no step 'nosuch'"),
        ("steps: []\n", (), 2, "steps"),
        ("steps:\n  - {name: a, hold: 90}\n", (), 2, "hold"),
        ("steps:\n  - {name: hot, hold: 90 degC}\n", (), 1, "outside ale-fridge's 0 degC to 30 degC"),
        (STEPS, ("--effective", "2020-01-01T00:00Z"), 1, "is past"),
    ],
)
def test_edit_that_makes_no_sense_is_refused_and_changes_nothing(
    site: Site, pale: str, tmp_path: Path, written: str, options: tuple[str, ...], status: int, words: str
) -> None:
    before = [one["name"] for one in site.batch(pale)["steps"]]
    (tmp_path / "steps.yaml").write_text(written)
    done = site.run("batch", "edit", pale, str(tmp_path / "steps.yaml"), *options)
    assert done.exit_code == status
    assert words in done.stderr
    site.steps(pale, before)


def test_gravity_that_was_misread_is_struck(site: Site, pale: str) -> None:
    assert site.run("batch", "gravity", pale, "--hydrometer", "1.031").exit_code == 0
    entry = site.told("batch", "measured", pale)[-1]["entry"]
    assert site.run("batch", "strike", pale, entry, "--why", "misread").exit_code == 0
    assert "misread" in site.run("batch", "measured", pale).stdout
    site.until(pale, lambda one: one["gravity_sg"] is None, "no gravity")


def test_beer_is_carried_to_another_chamber(site: Site, pale: str) -> None:
    assert site.run("batch", "move", pale, "--chamber", "third").exit_code == 0
    site.until(pale, lambda one: one["chamber"] == "third", "the move")
    assert site.run("batch", "move", pale, "--chamber", "ale-fridge").exit_code == 0
    site.until(pale, lambda one: one["chamber"] == "ale-fridge", "the way back")


@pytest.mark.parametrize(("verb", "phase"), [("finish", "complete"), ("abort", "aborted"), ("stop", "stopped")])
def test_batch_is_ended_in_one_way_or_another(site: Site, verb: str, phase: str) -> None:
    batch = f"50-{verb}"
    site.run("batch", "start", batch, "--chamber", "fourth", "--profile", "serving")
    assert site.run("batch", verb, batch).exit_code == 0
    site.until(batch, lambda one: one["phase"] == phase, phase)


def test_step_is_gone_back_to(site: Site) -> None:
    site.run("batch", "start", "60-back", "--chamber", "lager-fridge", "--profile", "weekend-crash",
             "--original-gravity", "1.050")  # fmt: skip
    site.run("batch", "skip", "60-back")
    assert site.run("batch", "back", "60-back").exit_code == 0
    site.until("60-back", lambda one: one["step"] == 0, "the first step")
    site.run("batch", "abort", "60-back")


def test_chores_are_set_listed_done_and_cleared(site: Site) -> None:
    assert site.run("chore", "set", "line-cleaning").exit_code == 0
    assert "Clean the beer lines" in site.run("chore", "list").stdout
    assert site.run("chore", "done", "line-cleaning", "--who", "Ada").exit_code == 0
    assert site.told("chore", "list")["chores"][0]["done_by"] == "Ada"
    assert site.run("chore", "clear", "line-cleaning").exit_code == 0
    assert "known by name" in site.run("chore", "list").stdout


def test_quiet_hours_are_set_and_shown(site: Site) -> None:
    assert site.run("chore", "quiet", "22:30-07:00").exit_code == 0
    assert "Quiet hours: 22:30-07:00." in site.run("chore", "list").stdout
    assert site.run("chore", "quiet", "none").exit_code == 0
    assert site.told("chore", "list")["quiet"] is None


@pytest.mark.parametrize(
    ("words", "status"),
    [(("done", "nosuch"), 1), (("set", "sweep"), 1), (("set", "sweep", "--when", "noon"), 2), (("quiet", "late"), 2)],
)
def test_chore_that_makes_no_sense_is_refused(site: Site, words: tuple[str, ...], status: int) -> None:
    assert site.run("chore", *words).exit_code == status


def test_plan_as_it_is_is_rehearsed_from_the_broker(site: Site, pale: str) -> None:
    def rehearsed() -> list[Any]:
        done = site.run("rehearse", "--with-plant-as-it-is", "--days", "0.05", "--json")
        told.update(json.loads(done.stdout) if done.exit_code == 0 else {})
        return [one for one in told.get("batches", ()) if one["batch"] == pale]

    told: dict[str, Any] = {}
    wait_until(lambda: bool(rehearsed()), "the batch in the rehearsal", 60)
    course = next(one for one in told["batches"] if one["batch"] == pale)
    assert course["steps"][0]["name"] == "warm"
    assert set(told["curves"]) >= {"ale-fridge", "lager-fridge"}


def test_beers_that_wait_are_planned_around_what_runs(site: Site, pale: str, tmp_path: Path) -> None:
    wishes = tmp_path / "wishes.yaml"
    wishes.write_text("beers:\n  next: {profile: lager, volume: 20 L, chambers: [ale-fridge]}\n")
    ends = site.batch(pale)["steps"][-1]["ends"][:10]

    def begins() -> str:
        return str(site.told("plan", str(wishes), "--with-plant-as-it-is")["placed"][0]["begins"])

    wait_until(lambda: begins() > ends, "a plan around the batch", 60)
