"""A part of a road without adequate service, as a record."""

from dataclasses import dataclass

# A driver takes two bad stretches with a breath between them for one.
JOIN_M = 150.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the road without adequate service.

    Parameters
    ----------
    from_m, to_m : float
        Distances along the road. [m]
    lost_m : float
        How much of it is without: breaks of up to `JOIN_M` with service are part of a stretch. [m]
    class_name, for_people : str
        The class of most of that, of `CLASSES` and in the service's words.
    lengths : tuple of (str, float)
        How much of it is in each class without service, in the same words, the most first. [m]
    margin_db : float
        The worst on it; negative: not served. [dB]
    lat_deg, lon_deg : float
        Where that is; all that follows is of this place. [degrees]
    hurts, wanted, second : str or None
        The site whose signal hurts most, the strongest and the second strongest; no site hurts where all are too weak,
        or another station disturbs: `other_transmitter` names that one, there.
    delay_difference_us, level_difference_db : float or None
        Of the two strongest signals, `second` minus `wanted`.
    hurts_delay_us, hurts_level_db : float or None
        `hurts` minus `wanted`; None where none hurts, or the strongest itself.
    worst_class, worst_for_people : str
        The class of this place, which may be another than that of most of the stretch.
    nearest, away_m : str, float
        Place or site nearest to that, and how far it is. [m]
    """

    from_m: float
    to_m: float
    lost_m: float
    class_name: str
    hurts: str | None
    wanted: str | None
    margin_db: float
    lat_deg: float
    lon_deg: float
    delay_difference_us: float | None
    level_difference_db: float | None
    nearest: str
    away_m: float
    second: str | None
    hurts_delay_us: float | None
    hurts_level_db: float | None
    other_transmitter: str | None = None
    for_people: str = ""
    lengths: tuple[tuple[str, float], ...] = ()
    worst_class: str = ""
    worst_for_people: str = ""
