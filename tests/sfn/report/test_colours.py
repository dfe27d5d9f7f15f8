"""What colours mean: sites apart, what is lost shown alone, ends named."""

import numpy as np

from sfn.report.colours import Scale, painted, site_colours
from sfn.report.legend import beyond, legend


def test_thirty_sites_have_thirty_colours() -> None:
    """The first ten stay as they are however many follow."""
    assert len(set(site_colours(30))) == 30
    assert site_colours(30)[:4] == site_colours(4)


def test_sites_are_painted_in_the_colours_of_the_legend() -> None:
    """Also beyond the tenth."""
    scale = Scale("sites", 0, 14, "site")
    picture = painted(np.array([[0.0, 12.0]], np.float32), scale, covered=np.ones((1, 2), dtype=bool))

    shown = ["#" + "".join(f"{v:02x}" for v in pixel[:3]) for pixel in picture[0].tolist()]
    assert shown == [site_colours(14)[0], site_colours(14)[12]]


def test_what_is_not_lost_stays_clear() -> None:
    """A flag paints its ones only, and its legend has one patch."""
    scale = Scale("flag", 0, 1, "")
    picture = painted(np.array([[0.0, 1.0, np.nan]], np.float32), scale, covered=np.ones((1, 3), dtype=bool))

    assert picture[0, :, 3].tolist() == [0, 255, 0]
    assert legend("Lost", scale, names=[], refractivity_n=315).count("<rect") == 1


def test_a_legend_says_where_its_colours_go_on() -> None:
    """Natural ends of an amount are ends."""
    assert beyond(Scale("difference", -10, 10, "µs")) == "end colours: and beyond"
    assert beyond(Scale("amount", 0, 20, "µs")) == "right end: and more"
    assert beyond(Scale("amount", 0, 1, "share")) == ""
