"""What is to be done next: by hand from how far each site is, whatever else is wrong."""

from itertools import product

import pytest

from sfn.errors import Problem, Touch
from sfn.study.overview import ORDER, SiteStand, due

SHEETS = ("withheld", "stale", "needs sign-off", "ready", "issued")
REPORTS = ("planned", "set", "measured", "split", "disagrees", "not changed", "gone back")


def stand(site: str, sheet: str, report: str) -> SiteStand:
    """A site of that name."""
    return SiteStand(site.lower(), site, sheet, report, "")


def test_what_is_on_air_and_wrong_comes_first() -> None:
    """A site that disagrees, then errors, then what waits for the office, then what is not proven."""
    stands = (
        stand("Alder", "issued", "set"),
        stand("Birch", "ready", "planned"),
        stand("Cedar", "issued", "disagrees"),
        stand("Elm", "ready", "planned"),
        stand("Fir", "issued", "measured"),
    )
    problems = (
        Problem("sites[1]", "a doubt", "less doubt", severity="warning", code="x", touches=(Touch("birch"),)),
        Problem("sites[0]", "a fault", "none", code="y", touches=(Touch("alder"),)),
    )
    found = due(stands, problems)
    assert [one.kind for one in found] == ["disagrees", "error", "issue", "warning", "measure"]
    assert found[0].sites == ("cedar",)
    assert found[1].where == "sites[0]"
    assert found[2].what == "Birch, Elm: the sheet is ready and not issued"
    assert found[2].sites == ("birch", "elm")


def test_a_site_without_a_sheet_is_told_once() -> None:
    """Where an error names it, the error says why; else the site is named."""
    stands = (stand("Alder", "withheld", "planned"), stand("Birch", "withheld", "planned"))
    problems = (Problem("sites[0]", "a fault", "none", code="y", touches=(Touch("alder"),)),)
    assert [(one.kind, one.sites) for one in due(stands, problems)] == [("error", ("alder",)), ("withheld", ("birch",))]


@pytest.mark.parametrize(("sheet", "report"), list(product(SHEETS, REPORTS)))
def test_only_a_site_that_is_issued_and_as_planned_asks_for_nothing(sheet: str, report: str) -> None:
    """Every other state leaves something to do, and nothing is said twice."""
    found = due((stand("Alder", sheet, report),), ())
    done = sheet == "issued" and report in ("measured", "not changed", "gone back")
    assert bool(found) != done
    assert len({(one.kind, one.what) for one in found}) == len(found)
    assert [ORDER.index(one.kind) for one in found] == sorted(ORDER.index(one.kind) for one in found)
    assert ("disagrees" in {one.kind for one in found}) == (report == "disagrees")
