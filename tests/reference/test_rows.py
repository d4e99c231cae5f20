"""Every row of every table within its stated tolerance; the source stands in the test's id."""

from pathlib import Path

import pytest

from tests.reference import check, evaluation, tables
from tests.reference.tables import Row

ROWS = tuple(tables.every_row())
EVALUATED = [row for row in ROWS if row.key in evaluation.known()]
SAME_EQUATION = [row for row in EVALUATED if row.equation_level is not None and isinstance(row.expected, float)]


def named(row: Row) -> str:
    return f"{row.id} [{row.source[:60]}; {row.provenance}]"


@pytest.mark.parametrize("row", EVALUATED, ids=named)
def test_row_agrees_within_its_stated_tolerance(row: Row) -> None:
    outcome = evaluation.evaluate(row)
    assert outcome.agrees, f"{outcome.value} against {row.expected} {row.unit}: {row.tolerance_why}"


@pytest.mark.parametrize("row", SAME_EQUATION, ids=named)
def test_the_same_equation_is_coded_right(row: Row) -> None:
    deviation = evaluation.evaluate(row).deviation
    assert deviation is not None
    assert row.equation_level is not None
    assert abs(deviation) <= row.equation_level * 1.0001


def test_every_row_is_evaluated_or_checked_elsewhere() -> None:
    evaluated = evaluation.known()
    unchecked = [row.id for row in ROWS if row.key not in evaluated and not evaluation.reason_elsewhere(row)]
    assert not unchecked


def test_a_row_that_deviates_is_reported(tmp_path: Path) -> None:
    header, *lines = (tables.FOLDER / "gravity_plato_abv.csv").read_text(encoding="utf-8").splitlines()
    spoilt = lines[0].replace("1.0278", "1.0378")
    (tmp_path / "gravity_plato_abv.csv").write_text("\n".join((header, spoilt, *lines[1:])), encoding="utf-8")
    assert [line.split(":")[0] for line in evaluation.failing(tmp_path)][0] == "gravity_plato_abv-001"


def test_the_command_counts_what_fails_and_says_so_by_its_status(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    header, first, *_ = (tables.FOLDER / "yeast_pitch.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "yeast_pitch.csv").write_text("\n".join((header, first.replace("pitch rate", "pitch hate"))))
    assert check.main([str(tmp_path)]) == 1
    assert "nothing evaluates 'pitch hate'" in capsys.readouterr().out
    assert check.main([]) == 0
