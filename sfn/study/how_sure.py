"""How sure plans are: today's network and others in the same drawn worlds, with what the worlds are and leave out."""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.class_says import ClassSays, class_says
from sfn.reception.coverage import Coverage
from sfn.reception.drawn import USUAL_CORRELATION
from sfn.reception.level_doubt import USUAL_DISTANCE_M, WHOLE_DB, LevelDoubt, usual_sigma_db
from sfn.reception.level_seen import METER_DB, Seen
from sfn.report.numbers import number
from sfn.solve.objective import Objective
from sfn.study.calibrated import Calibrated
from sfn.study.sure_figures import Sure, Told, how_sure
from sfn.study.sure_measured import Measured, measured_by, seen_on
from sfn.study.worlds import Worlds

USUAL_WORLDS_N, LEAST_WORLDS_N, MOST_WORLDS_N = 100, 20, 10_000
SHOWN_N = 3
MOST_METER_DB = 20.0
NOT_VARIED = (
    "levels of other stations, what receivers and their antennas differ in, clocks that lose their reference, standby "
    "routes, and the spread within a pixel beyond what its class counts already"
)


@dataclass(frozen=True, slots=True)
class AskedSure:
    """What is drawn; what is not given is as usual.

    Parameters
    ----------
    worlds_n : int
        How many worlds: every percentile is of these.
    seed : int
    sigma_db, whole_db : float, optional
        Spread of levels, and the part of it alike over a site's area. [dB]
    distance_m : float, optional
        Over which the rest loses its likeness. [m]
    site_correlation_ratio : float, optional
        Of two sites; not given: the document's (`levels.site_correlation`), else that of the drawn shares. [1]
    meter_db : float
        What the receiver of a drive test is off by all along, where one is given. [dB]
    measured : Calibrated, optional
        Drive tests beside the levels of today's network: worlds that they rule out are not drawn.
    """

    worlds_n: int = USUAL_WORLDS_N
    seed: int = 1
    sigma_db: float | None = None
    whole_db: float | None = None
    distance_m: float | None = None
    site_correlation_ratio: float | None = None
    meter_db: float = METER_DB
    measured: Calibrated | None = None

    def doubt(self, network: Network, *, smooth: bool) -> tuple[LevelDoubt, str]:
        """The doubt of levels, and in words where its spread is from.

        Raises
        ------
        PlanError
            If a figure is out of its range.
        """
        if not LEAST_WORLDS_N <= self.worlds_n <= MOST_WORLDS_N:
            what, expected = f"{self.worlds_n} worlds", f"{LEAST_WORLDS_N} to {MOST_WORLDS_N}"
            raise PlanError([Problem("worlds", what, expected, code="out-of-range", fields=("worlds",))])
        if not 0.0 <= self.meter_db <= MOST_METER_DB:
            what, expected = f"a receiver that is off by {self.meter_db:g} dB", f"0 to {MOST_METER_DB:g} dB"
            raise PlanError([Problem("meter_db", what, expected, code="out-of-range", fields=("meter_db",))])
        sigma_db, said = usual_sigma_db(network, smooth=smooth)
        if self.sigma_db is not None:
            sigma_db, said = self.sigma_db, f"{self.sigma_db:g} dB, as given"
        whole_db = min(WHOLE_DB, sigma_db) if self.whole_db is None else self.whole_db
        given = network.levels
        alike = self.site_correlation_ratio
        if alike is None:
            alike = USUAL_CORRELATION if given is None or given.site_correlation is None else given.site_correlation
        try:
            doubt = LevelDoubt(
                sigma_db, whole_db, USUAL_DISTANCE_M if self.distance_m is None else self.distance_m, alike
            )
        except ValueError as refused:
            expected = "a spread of 0 dB or more, a part of it, a distance above 0, a correlation from 0 to below 1"
            raise PlanError([Problem("sigma_db", str(refused), expected, code="out-of-range")]) from None
        return doubt, said

    def seen(self, computed: Coverage) -> Seen | None:
        """What was measured, by site and pixel of a map; None without a drive test.

        Raises
        ------
        PlanError
            As `sfn.study.sure_measured.seen_on`.
        """
        return None if self.measured is None else seen_on(computed, self.measured, meter_db=self.meter_db)


@dataclass(frozen=True, slots=True)
class HowSure:
    """Plans in the same drawn worlds, and what the worlds are.

    Parameters
    ----------
    asked : AskedSure
    doubt : LevelDoubt
    sigma_says : str
    plans : tuple of Sure
        Today's first.
    pixel_m : float
        [m]
    ended : str
        "all", or "cancelled" where fewer worlds were drawn than asked for.
    beside : ClassSays
        By which rule "served" is judged, as predicted and in every world.
    measured : Measured, optional
        What the worlds were made to agree with.
    """

    asked: AskedSure
    doubt: LevelDoubt
    sigma_says: str
    plans: tuple[Sure, ...]
    pixel_m: float
    ended: str
    beside: ClassSays
    measured: Measured | None = None

    @property
    def worlds_n(self) -> int:
        """How many were drawn."""
        return int(self.plans[0].served.size)

    @property
    def says(self) -> tuple[str, ...]:
        """What drawn worlds are, and leave out, in words."""
        doubt = self.doubt
        said = [
            f"{number(self.worlds_n, 0)} drawn worlds, random seed {self.asked.seed}: a model of what nobody knows, "
            f"not a measurement. Levels are off by {self.sigma_says}; {doubt.whole_db:g} dB of it alike over a site's "
            f"whole area, the rest alike over {number(doubt.distance_m, 0)} m (falling to 1/e), two sites up to 30 "
            f"degrees apart correlated by {doubt.site_correlation_ratio:g}; launches by the tolerances of their "
            "stages, each value between the bounds as likely, what is shared one error",
            f"not varied: {NOT_VARIED}",
            f"served is judged {self.beside.by_words}, as predicted and in every world",
        ]
        if self.measured is not None:
            said += self.measured.says
        if apart := self._beyond:
            said.append(apart)
        if self.ended == "cancelled":
            said.append(f"stopped after {self.worlds_n} of {self.asked.worlds_n} worlds")
        if self.pixel_m > doubt.distance_m:
            said.append(
                f"a pixel of {number(self.pixel_m, 0)} m is longer than levels are alike: all of its people stand for "
                "one place, so the spread comes out too wide rather than too narrow"
            )
        untold = sorted({name for one in self.plans for name in one.untold})
        if untold:
            said.append(f"assumed without a tolerance, and so not drawn: {', '.join(untold)}")
        left = sorted({name for one in self.plans for name in one.not_looked})
        if left:
            said.append(f"drawn, but not looked at one by one: {'; '.join(left)}")
        return tuple(said)

    @property
    def _beyond(self) -> str:
        """That today's network as predicted lies outside of what most worlds say; empty where it does not."""
        today = self.plans[0]
        if today.p5 <= today.nominal <= today.p95:
            return ""
        side = "less is served than" if today.nominal < today.p5 else "more is served than"
        return (
            f"as predicted {side} in 95 % of the worlds: the prediction has every level at its median, and is not the "
            "middle of the worlds. Levels that are off part signals that would be equal, or make them so. Judge by the "
            "percentiles"
        )


def sure_of(
    network: Network,
    computed: Coverage,
    what: Objective,
    asked: AskedSure,
    plans: Sequence[Network],
    *,
    placed: Mapping[str, Located],
    unknowns: bool = True,
    executor: Executor | None = None,
    told: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> HowSure:
    """Today's network and plans of it in drawn worlds over all places of a map that count.

    Parameters
    ----------
    network : Network
        Today's; whose levels `computed` are.
    computed : Coverage
    what : Objective
    asked : AskedSure
    plans : sequence of Network
        Besides today's.
    placed, unknowns, told, cancelled
        As in `how_sure`.
    executor : concurrent.futures.Executor, optional
        Threads.

    Raises
    ------
    PlanError
        If a figure is out of its range, or a plan has other sites than today's.
    """
    doubt, said = asked.doubt(network, smooth=computed.smooth)
    ids = {site.id for site in network.sites}
    for one in plans:
        if apart := ids ^ {site.id for site in one.sites}:
            what_says = f"sites are not the same: {', '.join(sorted(apart))}"
            expected = "plans of one set of sites: a new site has no levels here"
            raise PlanError([Problem("sites", what_says, expected, code="levels-of-another-path")])
    measured, seen = asked.measured, asked.seen(computed)
    worlds = Worlds(network, computed, what, doubt, seed=asked.seed, executor=executor, seen=seen)
    found = how_sure(
        worlds, (network, *plans), placed=placed, worlds_n=asked.worlds_n, unknowns=unknowns, told=told,
        cancelled=cancelled,
    )  # fmt: skip
    drawn = found[0].served.size
    ended = "all" if drawn >= asked.worlds_n - asked.worlds_n % 2 else "cancelled"
    told_by = None if measured is None or seen is None else measured_by(worlds, measured, seen)
    return HowSure(asked, doubt, said, found, computed.grid.pixel_m, ended, class_says(network, what.yard), told_by)
