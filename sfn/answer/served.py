"""As JSON: how a network serves with one set of launches: the score that is searched for."""

from sfn.reception.classes import CLASSES
from sfn.solve.objective import Score
from sfn.study.served import State


def score_document(one: Score) -> dict[str, float]:
    """A score with its keys."""
    return {
        "without_service": one.without_service,
        "below_target": one.below_target,
        "mean_margin_db": -one.minus_mean_margin_db,
    }


def state_document(one: State, shown: tuple[int, ...]) -> dict[str, object]:
    """Score, people, area, and the classes that the service has."""
    people = one.classes.people
    return score_document(one.score) | {
        "without_service_people": one.without_people,
        "without_service_km2": one.without_km2,
        "classes": [
            {
                "class": CLASSES[code],
                "code": code,
                "area_km2": one.classes.area_km2[code],
                "people": None if people is None else people[code],
            }
            for code in sorted(shown)
        ],
    }
