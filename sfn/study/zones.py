"""The answer of ``zones``: overlap layers over an area, as files and in numbers."""

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.aimed import received
from sfn.reception.area import ClassSummary, Overlap, OverlapSummary, class_summary, overlap, overlap_summary
from sfn.reception.class_says import ClassSays, class_says
from sfn.reception.classes import CLASSES, TOO_WEAK, UPSET, class_words, is_served, shown_classes
from sfn.reception.coverage import Coverage
from sfn.reception.drawn_quality import may_be_served
from sfn.reception.heard import HeardAreas, heard_areas
from sfn.reception.judged import Judged
from sfn.reception.on_treetops import OnTreetops, on_treetops_of
from sfn.reception.others import others_says
from sfn.reception.quality import ServiceQuality, Yardstick, yardstick
from sfn.reception.radiated import as_radiated
from sfn.reception.significance import Criteria, criteria
from sfn.report.colours import Scale
from sfn.report.numbers import db, number
from sfn.report.wavefronts import WavefrontLine, band_lines, delay_lines
from sfn.study.frame import edges_met, map_cut_says, served_edges_say, spoken_pct
from sfn.study.layers import LAYERS, people_layers
from sfn.study.served import counted_km2, counted_people
from sfn.study.zones_judged import judged_on
from sfn.systems.of_network import service_of
from sfn.systems.ofdm_window import RISK_STRATEGY
from sfn.systems.service import Service

Singles = NDArray[np.float32]


Flags = NDArray[np.bool_]


LEVELS = Scale("amount", 30, 110, "dBµV/m")


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer: values shape (rows, columns), unit, what it shows, and what its colours mean."""

    name: str
    label: str
    values: Singles
    unit: str
    scale: Scale


@dataclass(frozen=True, slots=True)
class Zones:
    """The overlap map of a network with given launches."""

    network: Network
    coverage: Coverage
    counts: Criteria
    carried: Service
    sites: tuple[str, ...]
    found: Overlap
    summary: OverlapSummary
    quality: ServiceQuality
    classes: ClassSummary
    risk: ClassSummary | None
    """OFDM: the classes of receivers that place their window by "strongest"."""
    placing_says: str
    """OFDM: how the receivers of this map place their window; empty for other services."""
    layers: tuple[Layer, ...]
    people: NDArray[np.float64] | None
    uncovered_km2: float
    """Area where the terrain has a gap at the pixel, or on the way to it from some site; in no figure of the map."""
    uncovered_people: float | None
    """Who lives there."""
    uncovered_counted_km2: float
    """The part of it that stands in the figures all the same: none."""
    others_says: str = ""
    """What is known of transmitters of other programmes, in words."""
    heard: HeardAreas | None = None
    """FM, where levels and phases were drawn: what listeners hear."""
    drawn: bool = False
    """Whether classes, and all area and people by class, go by drawn shares; else by the quick estimate."""
    quick: ClassSummary | None = None
    """The classes by the quick estimate."""
    served_between_km2: tuple[float, float] | None = None
    served_between_people: tuple[float, float] | None = None
    """What is served at least and at most, as far as the quick estimate may be off; None where shares were drawn."""

    @property
    def uncovered_says(self) -> str:
        """How much of the map, and how many people, no figure of it counts; empty where all are."""
        return self.coverage.uncovered_says(self.network, self.uncovered_people)

    @property
    def treetops(self) -> OnTreetops:
        """What of the figures rests on treetops and roofs that count as bare ground."""
        return on_treetops_of(self.coverage, quality_class=self.quality.quality_class, people=self.people)

    @property
    def shown_km2(self) -> float:
        """Area of the map."""
        return float(self.coverage.area_km2().sum())

    @property
    def spoken_km2(self) -> float:
        """Area that its figures of area and people speak of: what is in one of the classes."""
        return sum(self.classes.area_km2)

    @property
    def spoken_pct(self) -> float:
        """The same as part of the map. [%]"""
        return spoken_pct(self.spoken_km2, self.shown_km2)

    @property
    def overlap_says(self) -> str:
        """What of the overlap zone is so by levels, and what else is in it."""
        of = self.summary
        who = "" if of.near_people is None else f", {number(of.near_people, 0)} people"
        near = f"{number(of.near_km2, 1)} km² of it{who}: second strongest within {db(of.near_db, 0)} of the strongest"
        if self.carried.kind != "ofdm":
            return near
        return (
            f"{near}; a signal inside the guard interval counts however weak, so that the zone is nearly all that is "
            "above the minimum field, and its delay spread that of signals which may do nothing"
        )

    @property
    def beside_says(self) -> tuple[str, ...]:
        """What its files say beside classes: how they come about, the receiver's risk, other stations."""
        return (*self.says.lines, *((self.risk_says,) if self.risk_says else ()), self.others_says)

    @property
    def risk_says(self) -> str:
        """OFDM: what receivers that place their window by "strongest" would be served, beside the map's; else empty."""
        if self.risk is None:
            return ""
        ours, theirs = (
            f"{number(one.served_km2, 0)} km²"
            + ("" if one.served_people is None else f", {number(one.served_people, 0)} people")
            for one in (self.classes, self.risk)
        )
        return f"Served: {ours}; by “{RISK_STRATEGY}”, the receiver's risk: {theirs}"

    @property
    def says(self) -> ClassSays:
        """What stands beside every class."""
        return class_says(self.network, yardstick(self.network), drawn=self.drawn)

    @property
    def served_edges(self) -> tuple[str, ...]:
        """Edges of the map that served area runs into: there is more of it than the figures say."""
        shape = self.coverage.grid.shape
        served = np.reshape(is_served(self.quality.quality_class), shape)
        return edges_met(served, np.reshape(self.coverage.covered, shape))

    @property
    def served_edges_say(self) -> str:
        """The same in words; empty where the network stops serving within the map."""
        return served_edges_say(self.served_edges)

    @property
    def cut_says(self) -> str:
        """What of the network the frame of the map cuts, in words; empty where nothing is."""
        usable = np.isfinite(self.quality.quality_class) & (self.quality.quality_class != TOO_WEAK)
        areas = {"what is not too weak": usable, "the overlap zone": np.isfinite(self.found.delay_spread_us)}
        return map_cut_says(areas, self.coverage.grid, self.coverage.covered)

    def layer(self, name: str) -> Layer | None:
        """The layer of that name."""
        return next((layer for layer in self.layers if layer.name == name), None)


def zones(
    network: Network,
    coverage: Coverage,
    launches: Mapping[str, float],
    *,
    people: NDArray[np.float64] | None = None,
    drawn: bool = False,
    executor: Executor | None = None,
) -> Zones:
    """Overlap zones from levels that were computed before.

    Parameters
    ----------
    network : Network
        Says which sites are on air and what counts.
    coverage : Coverage
        Levels follow powers and antennas of `network`.
    launches : mapping of site id to launch time
        [us]
    people : ndarray, shape (M,), optional
        People in each pixel.
    drawn : bool
        Draw levels (FM: and phases), seconds of work: classes and figures go by the drawn shares, else by the quick
        estimate.
    executor : concurrent.futures.Executor, optional
        Threads to share the pixels among.

    Raises
    ------
    PlanError
        If the service is not known.
    """
    coverage, carried = as_radiated(network, coverage), service_of(network)
    counts = criteria(network, carried)
    on_air = coverage.on_air(network)
    arrivals = coverage.arrivals(launches)
    if len(on_air) < len(coverage.sites):
        arrivals = arrivals[on_air]
    yard = yardstick(network)
    judged, levels = judged_on(network, coverage, on_air, arrivals, yard, drawn=drawn, executor=executor)
    quality = judged.quality
    on_map = [coverage.sites[i] for i in on_air]
    not_judged = None if people is None else float(people[~coverage.covered].sum())
    area, people = counted_km2(coverage), counted_people(coverage, people)
    heard = None
    if judged.shares is not None:
        heard = heard_areas(network, yard, judged.shares, quality.quality_class, area_km2=area, people=people)
    found = overlap(levels, arrivals, counts=counts, quality=quality, executor=executor)
    classes = class_summary(quality.quality_class, area, people=people)
    return Zones(
        network,
        coverage,
        counts,
        carried,
        tuple(on_map),
        found,
        overlap_summary(found, area, near_db=counts.significant_db, people=people),
        quality,
        classes,
        None if quality.risk_class is None else class_summary(quality.risk_class, area, people=people),
        yard.placing.says if carried.kind == "ofdm" else "",
        _layers(found, quality, coverage, carried, on_air, levels, people),
        people,
        float(coverage.area_km2()[~coverage.covered].sum()),
        not_judged,
        0.0,
        others_says(network, carried, coverage.others),
        heard,
        judged.drawn,
        class_summary(judged.quick.quality_class, area, people=people) if judged.drawn else classes,
        *_between(judged, yard, area, people),
    )


def _between(
    judged: Judged, yard: Yardstick, area_km2: NDArray[np.float64], people: NDArray[np.float64] | None
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """Area and people that are served at least and at most, as far as the quick estimate may be off; None: drawn."""
    if judged.drawn or yard.carried.kind == "vsb":
        return None, None
    least, most = may_be_served(judged.quick, yard)
    area = float(area_km2[least].sum()), float(area_km2[most].sum())
    return area, None if people is None else (float(people[least].sum()), float(people[most].sum()))


def _layers(
    found: Overlap,
    quality: ServiceQuality,
    coverage: Coverage,
    carried: Service,
    on_air: NDArray[np.intp],
    levels: Singles,
    people: NDArray[np.float64] | None,
) -> tuple[Layer, ...]:
    """The layers with their scales: differences centred on zero, amounts from zero."""
    shape = coverage.grid.shape
    reach_us = 2 * carried.tolerance_us
    # Colours belong to a site's place in the document, so that a site not transmitting does not recolour the others.
    strongest, limiting = (_document_place(rows, on_air) for rows in (found.strongest, quality.limiting))
    nothing = np.full(shape[0] * shape[1], np.nan, np.float32)
    level = np.fmax.reduce(levels, axis=0) if len(on_air) else nothing
    lost = np.where(np.isnan(quality.quality_class), np.nan, quality.quality_class == UPSET).astype(np.float32)
    delay = Scale("difference", -reach_us, reach_us, "µs")
    # Signals 35 dB down are significant in FM: the spread of all is longer than the difference of the two strongest.
    spread = Scale("amount", 0, reach_us if carried.kind == "ofdm" else 3 * reach_us, "µs")
    sites = Scale("sites", 0, len(coverage.sites), "site")
    margin, share = Scale("margin", -20, 20, "dB"), Scale("amount", 0, 1, "share of places, 1 = all")
    classes = Scale("classes", 0, len(CLASSES) - 1, "", class_words(carried), shown_classes(carried))
    made: dict[str, tuple[Singles | None, Scale]] = {
        "quality_class": (quality.quality_class, classes),
        "quality_margin_db": (quality.margin_db, margin),
        "coverage_probability": (quality.probability, share),
        "limiting_site": (limiting, sites),
        "lost_to_self": (lost, Scale("flag", 0, 1, "")),
        "strongest_site": (strongest, sites),
        "level_dbuvm": (level, LEVELS),
        "level_difference_db": (found.level_difference_db, Scale("amount", -30, 0, "dB")),
        "delay_difference_us": (found.delay_difference_us, delay),
        "delay_spread_us": (found.delay_spread_us, spread),
        **people_layers(people, quality.quality_class),
    }
    return tuple(
        Layer(name, LAYERS[name].label, values.reshape(shape), LAYERS[name].unit, scale)
        for name, (values, scale) in made.items()
        if values is not None
    )


def _document_place(rows: Singles, on_air: NDArray[np.intp]) -> Singles:
    """Rows among the sites on air as places in the document; NaN stays."""
    place = np.append(on_air.astype(np.float32), np.float32(np.nan))
    return np.asarray(place[np.where(np.isnan(rows), len(on_air), rows).astype(int)])


def pair_fields(
    found: Zones, launches: Mapping[str, float], a: str, b: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Delay and level difference of a pair over the grid, `b` minus `a`, as receivers get them. [us, dB]

    Both shaped (rows, columns). Levels are those of the map: corrected by drive tests, and behind the receiving antenna
    that points at the strongest site on air; of a site not transmitting, as it would be without one.
    """
    coverage = found.coverage
    i, k = coverage.sites.index(a), coverage.sites.index(b)
    delay = coverage.travel_us[k] + launches[b] - coverage.travel_us[i] - launches[a]
    on_air = coverage.on_air(found.network)
    levels = received(found.network, coverage, on_air)[0]
    rows = {int(place): row for row, place in enumerate(on_air.tolist())}
    first, second = (levels[rows[n]] if n in rows else coverage.level_dbuvm[n] for n in (i, k))
    level = second.astype(np.float64) - first
    return delay.reshape(coverage.grid.shape), level.reshape(coverage.grid.shape)


def pair_lines(found: Zones, launches: Mapping[str, float], a: str, b: str) -> tuple[WavefrontLine, ...]:
    """The equal-delay lines and the equal-signal band of a pair."""
    delay, level = pair_fields(found, launches, a, b)
    step_us = 5.0 if found.carried.kind != "ofdm" else found.carried.tolerance_us / 4
    band = found.counts.equal_signal_db
    lines = delay_lines(delay, level, found.coverage.grid, step_us=step_us, equal_signal_db=band)
    return (*lines, *band_lines(level, found.coverage.grid, equal_signal_db=band))


def neighbours(found: Zones) -> tuple[tuple[str, str], ...]:
    """Pairs that are the two strongest somewhere in the overlap zone, the largest zones first."""
    zone, count = np.isfinite(found.found.delay_spread_us), len(found.sites)
    first, second = (rows[zone].astype(np.intp) for rows in (found.found.strongest, found.found.second))
    met = np.bincount(np.minimum(first, second) * count + np.maximum(first, second), minlength=count * count)
    pairs = np.flatnonzero(met)
    order = pairs[np.argsort(-met[pairs], kind="stable")]
    return tuple((found.sites[pair // count], found.sites[pair % count]) for pair in order.tolist())
