"""Who is counted, as layers of the map."""

import numpy as np

from sfn.plan import read_file
from sfn.plan.demos import demo_files
from sfn.reception.classes import CLASSES, is_served
from sfn.study.layers import offered, people_layers


def test_people_without_service_are_those_of_pixels_that_are_not_served() -> None:
    """Nobody is no colour; the scale ends where one pixel in fifty lies above, at 1, 2 or 5."""
    classes = np.array([*range(len(CLASSES)), np.nan], np.float32)
    people = np.array([*(10.0 * (n + 1) for n in range(len(CLASSES))), 0.0])
    (counted, scale), (without, same) = people_layers(people, classes).values()
    assert counted is not None
    assert without is not None
    served = is_served(classes[:-1])
    assert np.isnan(counted[-1])
    assert counted[:-1].tolist() == people[:-1].tolist()
    assert np.isnan(without).tolist() == [*served.tolist(), True]
    assert np.nansum(counted) - np.nansum(without) == people[:-1][served].sum()
    assert scale == same
    assert scale.high == 100.0
    assert people_layers(None, classes)["people_counted"][0] is None


def test_people_are_on_offer_where_the_document_names_some() -> None:
    """Else no such layer is in the list."""
    network = read_file(demo_files()[0])
    for listeners in (None, network.listeners):
        there = "people_counted" in offered(network.model_copy(update={"listeners": listeners}))
        assert there == (listeners is not None)
