"""What stands beside every class of reception: by which rule it is one, for whom, and what it leaves out.

A class may seem to contradict a figure beside it (a positive margin, a share, a level); the rule says why it does not.
"""

from dataclasses import dataclass
from statistics import NormalDist

from sfn.errors import PlanError
from sfn.plan import Network
from sfn.reception.aimed import ONE_MAST_M
from sfn.reception.classes import (
    BLENDED,
    BY_WORDS,
    JUST_ENOUGH,
    UPSET,
    class_words,
    classes_by,
    classes_say,
    shown_classes,
)
from sfn.reception.drawn import USUAL_CORRELATION
from sfn.reception.other_network import on_channel
from sfn.reception.quality import ACCEPTABLE_PROBABILITY, LEVEL_MARGIN_DB, Yardstick, too_weak_below_dbuvm
from sfn.systems.fm_listeners import LISTENER_SPREAD_DB
from sfn.systems.of_network import service_of
from sfn.units import THIN, grouped

LISTENERS = {"car": "cars", "portable": "portables", "hi-fi": "hi-fi sets"}
PLANNED_HEIGHT_M = 10.0  # of the antenna that FM's usable levels are for (BS.412)
OTHERS_SPREAD = (
    "Levels of stations with other programmes spread over the places around as ours do, correlated by bearing and mast "
    "alike: a place around is served where ours do and the strongest of them reaches what each of the others asks for"
)
OTHERS_WORSE = (
    "Where our own sites and another station both keep a place from being served, the class names the worse of them by "
    "margin"
)


@dataclass(frozen=True, slots=True)
class ClassSays:
    """Sentences beside a class; each empty where it says nothing about the service."""

    unjudged: str
    """What of the same transmitter no class, margin or area speaks of."""
    rule: str
    """What makes the class."""
    by: str
    """Code of the rule that makes it so here, of `sfn.reception.classes`."""
    quick: str
    """FM and OFDM: whether the classes go by the quick estimate or by drawn shares."""
    too_weak: str
    """OFDM and 8-VSB: the level that divides what is too weak from what is upset."""
    too_weak_below_dbuvm: float
    spread: str
    """OFDM: how levels vary over the places around."""
    window: str
    """OFDM: how receivers place their window."""
    listeners: str
    """FM: whose sets, and from which share a place is served."""
    usable: str
    """FM: that the usable level is for another height."""
    significant: str
    """Which signals are named, and that all are judged."""
    others: str
    """How stations with other programmes count, and which class a place has that is lost in two ways."""

    @property
    def by_words(self) -> str:
        """The code for people, as it stands beside a figure."""
        return BY_WORDS[self.by]

    @property
    def lines(self) -> tuple[str, ...]:
        """All that is said, the gravest first."""
        window = f"Receivers place their window by {self.window}" if self.window else ""
        every = (
            self.unjudged, self.rule, self.quick, self.too_weak, self.spread, window, self.listeners, self.usable,
            self.significant, self.others,
        )  # fmt: skip
        return tuple(said for said in every if said)

    def as_json(self) -> dict[str, str | None]:
        """The same for documents; null where nothing is said."""
        return {
            "not_judged": self.unjudged or None,
            "class_rule": self.rule,
            "classes_by": self.by,
            "classes_say": self.quick or None,
            "levels_spread_say": self.spread or None,
            "receiver_window": self.window or None,
            "listeners_say": self.listeners or None,
            "usable_says": self.usable or None,
            "significant_says": self.significant or None,
            "worse_says": self.others or None,
        }


def class_says(network: Network, yard: Yardstick, *, drawn: bool = False) -> ClassSays:
    """What stands beside the classes of a network.

    Parameters
    ----------
    network : Network
    yard : Yardstick
        Its own.
    drawn : bool
        The classes go by drawn shares.
    """
    carried = yard.carried
    ofdm = carried.kind == "ofdm"
    below_dbuvm = too_weak_below_dbuvm(yard, frequency_mhz=network.frequency_mhz)
    unjudged = carried.unjudged
    return ClassSays(
        unjudged=f"Not judged: {unjudged}" if unjudged else "",
        rule=_rule(yard),
        by=classes_by(carried, drawn=drawn),
        quick=classes_say(carried, drawn=drawn),
        too_weak="" if carried.kind == "fm" else _too_weak(yard, below_dbuvm),
        too_weak_below_dbuvm=below_dbuvm,
        spread=_spread(network, yard) if ofdm else "",
        window=yard.placing.says if ofdm else "",
        listeners=_listeners(yard),
        usable=_usable(network, yard),
        significant=_significant(yard),
        others=_others(network, yard),
    )


def quick_rule(network: Network) -> str:
    """Code of the rule by which searches, orders and whatever follows a try judge; empty of a service not known."""
    try:
        return classes_by(service_of(network))
    except PlanError:
        return ""


def _significant(yard: Yardstick) -> str:
    """That the limit of significance names signals and judges nothing."""
    carried = yard.carried
    within = f"{yard.counts.significant_db:g} dB of the strongest"
    guard = "inside the guard interval, or else " if carried.kind == "ofdm" else ""
    words, shown = class_words(carried), shown_classes(carried)
    named = [f"“{words[code]}”" for code in (JUST_ENOUGH, BLENDED, UPSET) if code in shown]
    return (
        "Every signal counts in class, margin and shares, however weak. Significant, so in delay spread and overlap "
        f"zone, is one {guard}within {within}, and, however weak, the one that takes most from reception where the "
        f"class is {', '.join(named[:-1])} or {named[-1]}"
    )


def _others(network: Network, yard: Yardstick) -> str:
    """How stations with other programmes count."""
    if not on_channel(network):
        return ""
    kind = yard.carried.kind
    said = OTHERS_SPREAD if kind == "ofdm" else _others_at_medians(yard)
    return f"{said}. {OTHERS_WORSE}"


def _others_at_medians(yard: Yardstick) -> str:
    """Of FM and 8-VSB: that levels of other stations are not drawn, and what that leaves out."""
    said = (
        "Levels of stations with other programmes are taken at their medians over the places around, against that of "
        "our strongest: where it just reaches what they ask for, half of these places fall short, and no class or "
        "share says so"
    )
    if yard.sets is None:
        return said
    spare_db = NormalDist().inv_cdf(yard.sets.served_ratio) * LISTENER_SPREAD_DB
    return (
        f"{said}. With two levels apart by a spread of {LISTENER_SPREAD_DB:g} dB, as between two of our own sites, "
        f"{100 * yard.sets.served_ratio:g} % reach it from {spare_db:.0f} dB more on"
    )


def _rule(yard: Yardstick) -> str:
    """What makes the class, in a sentence."""
    carried = yard.carried
    if carried.kind == "ofdm":
        return (
            f"The class goes by the share of places around that are served: with margin from "
            f"{carried.location_pct:g} %, low margin from {100 * ACCEPTABLE_PROBABILITY:g} %, neither with a negative "
            "margin. The margin is that of the median levels: a positive one alone is not service"
        )
    if carried.kind == "vsb":
        return (
            f"The class goes by the margin of the median levels: with margin from {LEVEL_MARGIN_DB:g} dB, low margin "
            "from 0 dB"
        )
    sets = yard.sets
    share = "enough" if sets is None else f"{100 * sets.served_ratio:g} %"
    ratio = f"for {share} of time" if _of(yard) == "time" else f"at {share} of places"
    mono = carried.id == "fm-mono"
    more_db = yard.target_snr_db - yard.adequate_snr_db
    first = (
        f"clear with {yard.adequate_snr_db:g} dB S/N {ratio}, distorted with less"
        if mono
        else f"clear stereo where stereo is kept with {yard.adequate_snr_db:g} dB S/N {ratio}; clear, partly or wholly "
        "mono where blended sound has it; distorted where that has not either"
    )
    return (
        f"The class goes by level and by listeners: {first}. With margin: {LEVEL_MARGIN_DB:g} dB more level and "
        f"{more_db:g} dB more S/N. The margin is over being clear{'' if mono else ', in stereo or mono'}"
    )


def _of(yard: Yardstick) -> str:
    """What FM's shares are of."""
    return "time" if yard.sets is not None and yard.sets.of_time else "places"


def _too_weak(yard: Yardstick, below_dbuvm: float) -> str:
    """The level between too weak and upset, and what it is not."""
    why = (
        f"it alone would serve less than {100 * ACCEPTABLE_PROBABILITY:g} % of the places around"
        if yard.carried.kind == "ofdm"
        else "it lies less than the required C/N over the noise"
    )
    together = (
        " Several weak signals together may serve below it, and what our own echoes spoil there counts to it too."
        if yard.carried.kind == "ofdm"
        else ""
    )
    return (
        "Below minimum field is what is not served and has its strongest signal below "
        f"{grouped(below_dbuvm, '.1f')}{THIN}dBµV/m, where {why}.{together} The usable level is the "
        "median that planning asks for"
    )


def _spread(network: Network, yard: Yardstick) -> str:
    """How levels vary over the places around."""
    given, spread = network.levels, yard.spread
    own = "set in this network"
    source = own if given is not None and given.sigma_db is not None else yard.carried.location_sigma_source
    correlation = own if given is not None and given.site_correlation is not None else "from memory"
    usual = "" if spread.site_correlation_ratio == USUAL_CORRELATION else f", usually {USUAL_CORRELATION:g}"
    return (
        f"Over the places around, levels spread by {spread.sigma_db:g} dB ({source}); in the drawn shares sites up to "
        f"30 degrees apart are correlated by {spread.site_correlation_ratio:g} ({correlation}{usual}), within "
        f"{ONE_MAST_M:g}{THIN}m, as on one mast, by {spread.cosited_correlation_ratio:g} (from memory)"
    )


def _listeners(yard: Yardstick) -> str:
    """Whose FM sets listen."""
    sets = yard.sets
    if sets is None:
        return ""
    return (
        f"Listeners: {LISTENERS[sets.blend.listeners]}; shares are of {_of(yard)}, served from "
        f"{100 * sets.served_ratio:g} %"
    )


def _usable(network: Network, yard: Yardstick) -> str:
    """That FM's usable level is for an antenna above the one it is held against."""
    height_m = network.receiver.height_m
    if yard.carried.kind != "fm" or network.thresholds.usable_dbuvm is not None or height_m >= PLANNED_HEIGHT_M:
        return ""
    return (
        f"The usable level, {yard.counts.usable_dbuvm:g} dBµV/m, is planned for an antenna {PLANNED_HEIGHT_M:g} m "
        f"above ground and held here against the level at {height_m:g} m, with nothing taken off it"
    )
