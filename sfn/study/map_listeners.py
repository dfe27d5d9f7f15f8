"""What listeners of an FM network hear over a map, as JSON and in words."""

from sfn.reception.class_says import LISTENERS
from sfn.reception.heard import PEOPLE_CLASSES, HeardAreas
from sfn.report.numbers import number


def heard_said(found: HeardAreas, draws: str) -> str:
    """The same in a sentence or two.

    Parameters
    ----------
    found : HeardAreas
    draws : str
        From `sfn.reception.judged.draws_say`.
    """
    of = "area" if found.people is None else "people"
    amounts = found.area_km2 if found.people is None else found.people
    unit = " km²" if found.people is None else " people"
    parts = [
        f"{name} {number(amounts[k], 0)}{unit} ({100 * share_of(found, k):.0f} %)"
        for k, name in enumerate(PEOPLE_CLASSES)
        if k != 3 or amounts[3] > 0  # where none is listed nothing is counted, and said so below
    ]
    ratio = f"{100 * found.served_ratio:.0f} % of {found.of}"
    says = "; ".join(found.says)
    says = says[:1].upper() + says[1:]
    return (
        f"Listeners, levels and carrier phases drawn, {LISTENERS[found.listeners]}, served from {ratio}: "
        f"{'; '.join(parts)}; shares of the {of} here; {draws}. {says}. Classes go by these shares."
    )


def share_of(found: HeardAreas, k: int) -> float:
    """A class's part of the people, of the area where they are not known; 0 to 1."""
    amounts = found.area_km2 if found.people is None or not sum(found.people) else found.people
    return amounts[k] / max(sum(amounts), 1e-12)
