"""A beer in the ale fridge, so that there is a programme to look at."""

import pytest

from tests.console.site import Site


@pytest.fixture(scope="module", autouse=True)
def beer(site: Site) -> str:
    """Started once; whoever finds it there already is content."""
    under_way = {one["batch"]: one["chamber"] for one in site.says("batch", "list")}
    if "ale-fridge" not in under_way.values():
        site.do("batch", "start", "41-oat-pale", "--chamber", "ale-fridge", "--profile", "weekend-crash",
                "--original-gravity", "1.052")  # fmt: skip
    return next((batch for batch, chamber in under_way.items() if chamber == "ale-fridge"), "41-oat-pale")
