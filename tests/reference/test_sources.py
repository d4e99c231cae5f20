"""The sources page says what the tables and the code say now."""

from tests.reference import evaluation, sources, tables


def test_the_page_is_what_would_be_written_now() -> None:
    assert sources.PAGE.read_text(encoding="utf-8") == sources.page()


def test_every_evaluated_quantity_has_a_formula() -> None:
    evaluated = {row.key for row in tables.every_row() if row.key in evaluation.known()}
    assert set(sources.formulas()) == evaluated


def test_every_function_that_the_page_names_exists() -> None:
    missing = [function for _, function in sources.formulas().values() if not sources.exists(function)]
    assert not missing


def test_every_page_line_has_all_rows_agreeing() -> None:
    lines = [line for line in sources.page().splitlines() if " of " in line and line.startswith("| ")]
    counts = [
        cell.split(" of ") for line in lines for cell in line.split(" | ") if cell[:1].isdigit() and " of " in cell
    ]
    assert len(counts) > 100
    assert all(agreeing == total for agreeing, total in counts if total.isdigit())
