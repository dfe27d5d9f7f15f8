"""Loss on one path of a stream or on two, as typed or as measured, and what a protection leaves of it.

Whatever speaks of a second path asks here. Two paths that lose packets together are no product: what both lose is a
process of its own, with its own ratio and bursts, and a protection that has both paths meets exactly that process. So
a stream sent twice over one cable has the figures of one path.

| symbol | name | unit |
|---|---|---|
| p1, p2 | loss ratio of each path | 1 |
| j | `joint_loss_ratio`: packets lost on both, of all | 1 |
"""

from dataclasses import dataclass, replace
from typing import Literal

from sfn.stream.joint import Joint
from sfn.stream.loss import Fit, LossModel, binomial_interval, bursts, independent
from sfn.stream.protection import Protection
from sfn.stream.residual import Residual, residual

Tie = Literal[
    "one path",
    "assumed independent",
    "assumed independent: nothing measured says so",
    "share of common losses as given",
    "independent as far as the records tell",
    "taken as independent, within the interval given",
    "they fail together, as measured",
    "upper limit: the records hold too few losses to tell",
]
PRODUCTS: tuple[Tie, ...] = (
    "assumed independent",
    "assumed independent: nothing measured says so",
    "independent as far as the records tell",
    "taken as independent, within the interval given",
)
GIVEN: Tie = "share of common losses as given"
UNMEASURED: Tie = "assumed independent: nothing measured says so"
INDEPENDENCE_PROBABILITY = 0.01  # a record less likely than this to be as bursty by chance is bursty


ALONE_SAYS = (
    "no mean burst is given, so packets are taken as lost each alike; real networks lose in bursts, and then FEC "
    "and repeats leave more than this says"
)


@dataclass(frozen=True, slots=True)
class Losses:
    """A loss process and how surely it is known.

    Parameters
    ----------
    model : LossModel
    low, high : LossModel or None
        Ends of its 99 % interval, loss ratio and bursts both at their worst; None where the model was typed. `low` is
        None with `high` where nothing was lost: then `model` is the upper limit.
    source : str
        In words.
    """

    model: LossModel
    low: LossModel | None = None
    high: LossModel | None = None
    source: str = "given"

    @property
    def alone(self) -> bool:
        """Whether packets are taken as lost each alike because nobody said in which bursts."""
        return self.source == "given" and not self.model.start_probability and 0 < self.model.good_loss_probability < 1

    @property
    def only_limit(self) -> bool:
        """Whether only the most that may be lost is known."""
        return self.high is not None and self.low is None


@dataclass(frozen=True, slots=True)
class Paths:
    """Loss on the path of a stream, and on its second one.

    Parameters
    ----------
    first : Losses
    second : Losses or None
    joint : Losses or None
        Packets that both lose; None where the paths are taken as independent of each other.
    tie : str
        Where that stands on.
    bound : Losses or None
        Of paths that are taken as independent: the 99 % interval of what both lose, as counted or as typed. The
        product is the figure; no figure is surer than this.
    """

    first: Losses
    second: Losses | None = None
    joint: Losses | None = None
    tie: Tie = "one path"
    bound: Losses | None = None

    @property
    def alone_says(self) -> str | None:
        """That no mean burst is known, and what that does to the figures; None where there is one."""
        if not any(one is not None and one.alone for one in (self.first, self.second)):
            return None
        return ALONE_SAYS

    @property
    def as_fitted(self) -> "Paths":
        """The same without the intervals of its models: what is most likely, not what is sure."""
        first, second, joint = (None if one is None else replace(one, low=None, high=None) for one in self._all)
        assert first is not None
        return Paths(first, second, joint, self.tie)

    @property
    def _all(self) -> "tuple[Losses | None, ...]":
        """First, second, joint."""
        return self.first, self.second, self.joint

    @property
    def joint_loss_ratio(self) -> float | None:
        """Packets lost on both, of all; None without a second path."""
        if self.second is None:
            return None
        if self.joint is not None:
            return self.joint.model.loss_ratio
        return self.first.model.loss_ratio * self.second.model.loss_ratio


def paths_given(
    first: LossModel,
    second: LossModel | None = None,
    *,
    joint_loss_ratio: float | None = None,
    joint_burst_packets: float | None = None,
    joint_interval_ratio: tuple[float, float] | None = None,
) -> Paths:
    """Paths as typed.

    Parameters
    ----------
    first, second : LossModel
    joint_loss_ratio : float, optional
        j; without it the paths are assumed to be independent, and everything says so.
    joint_burst_packets : float, optional
        Mean burst of what both lose; that of the path with the longer bursts when not given. [packets]

    joint_interval_ratio : (float, float), optional
        99 % interval of what both lose, as measured: figures are estimates within it.

    Raises
    ------
    ValueError
        If j cannot be: more than either path loses, or less than both together must; or a burst has no j; or j is
        outside its interval.
    """
    if second is None:
        if joint_loss_ratio is not None or joint_burst_packets is not None or joint_interval_ratio is not None:
            raise ValueError("joint_loss_ratio must not be given without a second path")
        return Paths(Losses(first))
    if joint_interval_ratio is not None:
        return _within(first, second, joint_loss_ratio, joint_burst_packets, joint_interval_ratio)
    if joint_loss_ratio is None:
        if joint_burst_packets is not None:
            raise ValueError("joint_burst_packets must not be given without joint_loss_ratio")
        return Paths(Losses(first), Losses(second), None, "assumed independent")
    return Paths(
        Losses(first), Losses(second), _typed_joint(first, second, joint_loss_ratio, joint_burst_packets), GIVEN
    )


def _within(
    first: LossModel, second: LossModel, joint: float | None, burst: float | None, interval: tuple[float, float]
) -> Paths:
    """Paths whose common losses are typed with their interval."""
    low, high = interval
    if not 0 <= low <= high or not (joint is None or low <= joint <= high):
        raise ValueError(f"joint_interval_ratio must be two ratios in order, around joint_loss_ratio, got {interval}")
    middle = min(max(first.loss_ratio * second.loss_ratio, low), high) if joint is None else joint
    ends = [_typed_joint(first, second, ratio, burst).model for ratio in (middle, low, high)]
    joined = Losses(ends[0], ends[1], ends[2], "given, with its interval")
    if joint is None:
        return Paths(
            Losses(first), Losses(second), None, "taken as independent, within the interval given", bound=joined
        )
    return Paths(Losses(first), Losses(second), joined, GIVEN)


def with_unmeasured_second(
    paths: Paths, *, joint_loss_ratio: float | None = None, joint_burst_packets: float | None = None
) -> Paths:
    """One measured path and a second that nobody measured: as good as the first.

    Parameters
    ----------
    paths : Paths
        Of one record.
    joint_loss_ratio : float, optional
        j as typed; without it the second path is assumed to be independent, and nothing measured says so.
    joint_burst_packets : float, optional
        As for `paths_given`. [packets]

    Raises
    ------
    ValueError
        As `paths_given`.
    """
    if joint_loss_ratio is None:
        return Paths(paths.first, paths.first, None, UNMEASURED)
    model = paths.first.model
    return Paths(paths.first, paths.first, _typed_joint(model, model, joint_loss_ratio, joint_burst_packets), GIVEN)


def joint_bounds(first: LossModel, second: LossModel) -> tuple[float, float]:
    """Least and greatest share of all packets that two paths may lose together."""
    p1, p2 = first.loss_ratio, second.loss_ratio
    return max(p1 + p2 - 1, 0.0), min(p1, p2)


def _typed_joint(
    first: LossModel, second: LossModel, joint_loss_ratio: float, joint_burst_packets: float | None
) -> Losses:
    """What both lose, as typed."""
    least, most = joint_bounds(first, second)
    if not least * (1 - 1e-9) <= joint_loss_ratio <= most * (1 + 1e-9):
        raise ValueError(
            f"joint_loss_ratio must be from {least:g} to {most:g} (what is lost on both is lost on either), "
            f"got {joint_loss_ratio:g}"
        )
    burst = joint_burst_packets
    if burst is None:
        longest = max((m for m in (first, second) if m.loss_ratio > 0), key=_burst, default=None)
        burst = 1.0 if longest is None or longest.is_independent else _burst(longest)
    return Losses(independent(joint_loss_ratio) if burst == 1 else bursts(joint_loss_ratio, mean_burst_packets=burst))


def _burst(model: LossModel) -> float:
    """Mean burst. [packets]"""
    return model.mean_burst_packets


def fitted(found: Fit | None, *, packets_n: int) -> Losses:
    """The process that a record shows: bursts only where they are beyond chance; nothing lost is an upper limit.

    Parameters
    ----------
    found : Fit or None
        Of the record; None where nothing was lost.
    packets_n : int
        Packets sent.
    """
    if found is None:
        _, high = binomial_interval(0, of=packets_n)
        limit = independent(high)
        return Losses(limit, None, limit, "upper limit: nothing was lost in the record")
    if found.independence_probability >= INDEPENDENCE_PROBABILITY:
        return Losses(
            independent(found.model.loss_ratio),
            independent(found.loss_low_ratio),
            independent(found.loss_high_ratio),
            "fitted to the record, which shows no bursts",
        )
    low = _gilbert(found.loss_low_ratio, found.burst_low_packets)
    return Losses(found.model, low, _heavier(found), "fitted to the record")


def _heavier(found: Fit) -> LossModel:
    """The upper end: as many losses and as long bursts as the record allows."""
    start = found.loss_high_ratio / found.burst_high_packets
    if start > 1 - found.loss_high_ratio:  # so lossy that both ends exclude each other: the ratio goes before
        return independent(found.loss_high_ratio)
    return _gilbert(found.loss_high_ratio, found.burst_high_packets)


def _gilbert(loss_ratio: float, burst_packets: float) -> LossModel:
    """Gilbert's model, however long the bursts: one outage leaves open whether they last for hours."""
    if loss_ratio >= 1:
        return independent(1.0)
    return LossModel(loss_ratio / burst_packets / (1 - loss_ratio), 1 / burst_packets)


def measured(first: Losses, second: Losses | None = None, together: Joint | None = None) -> Paths:
    """Paths as recorded, one or two at the same time.

    Parameters
    ----------
    first, second : Losses
        From `fitted`.
    together : Joint
        Of the two records.

    Notes
    -----
    Where chance does not explain what both lost, what both lost is the process that counts. Where either lost
    nothing, no tie can show: the most that both may have lost unseen is the upper limit.
    """
    if second is None or together is None:
        return Paths(first)
    if not together.independent:
        return Paths(
            first, second, fitted(together.bursts, packets_n=together.packets_n), "they fail together, as measured"
        )
    if first.only_limit or second.only_limit:
        limit = fitted(None, packets_n=together.packets_n)
        return Paths(first, second, limit, "upper limit: the records hold too few losses to tell")
    counted = fitted(together.bursts, packets_n=together.packets_n)
    return Paths(first, second, None, "independent as far as the records tell", bound=counted)


def left_by(protection: Protection, *, paths: Paths, seed: int = 1, block_n: int = 200_000) -> Residual:
    """Loss that a protection leaves, with the doubt of what it rests on.

    Parameters
    ----------
    protection : Protection
    paths : Paths
        With a second path in the protection but none here, the second is as good as the first and independent of it.
    seed, block_n : int
        As for `sfn.stream.residual.residual`.

    Returns
    -------
    left : Residual
        `kind` is ``exact`` only for a typed model with a formula. Fitted models give an ``estimate`` whose 99 %
        interval spans theirs. Where nothing was lost, no protection is credited: the most that the record leaves room
        for is the figure, its own interval from 0, and errors are rarer than that.

    Raises
    ------
    ValueError
        If `block_n` is out of range.
    """
    if not protection.second_path:
        return _left(protection, (paths.first,), seed=seed, block_n=block_n)
    if paths.second is not None and paths.joint is not None:
        return _left(replace(protection, second_path=False), (paths.joint,), seed=seed, block_n=block_n)
    left = _left(protection, (paths.first, paths.second or paths.first), seed=seed, block_n=block_n)
    if paths.bound is None:
        return left
    return _widened(left, _left(replace(protection, second_path=False), (paths.bound,), seed=seed, block_n=block_n))


def _widened(left: Residual, within: Residual) -> Residual:
    """The product's figures, no surer than the interval of what both lose allows."""
    high, errors_high = max(left.high_ratio, within.high_ratio), max(left.errors_high_ratio, within.errors_high_ratio)
    limits = left.kind == "less than", left.errors_kind == "less than"
    return replace(
        left,
        loss_ratio=high if limits[0] else left.loss_ratio,
        low_ratio=min(left.low_ratio, within.low_ratio),
        high_ratio=high,
        errors_per_packet_ratio=errors_high if limits[1] else left.errors_per_packet_ratio,
        errors_low_ratio=min(left.errors_low_ratio, within.errors_low_ratio),
        errors_high_ratio=errors_high,
        kind="less than" if limits[0] else "estimate",
        errors_kind="less than" if limits[1] else "estimate",
    )


def _left(protection: Protection, used: tuple[Losses, ...], *, seed: int, block_n: int) -> Residual:
    """The residual of the models, widened to those at the ends of their intervals."""

    def of(models: tuple[LossModel, ...]) -> Residual:
        return residual(protection, paths=models, seed=seed, block_n=block_n)

    if any(one.only_limit for one in used):
        # nothing was lost: how long bursts would be nobody knows, so no parity and no repeat can be credited. Every
        # error begins with a burst, and bursts are rarer than the limit; what one would take no record shows.
        most = min((one.high or one.model).loss_ratio for one in used)
        return Residual(most, 0.0, most, most, 0.0, most, "estimate", "less than", 0)
    found = of(tuple(one.model for one in used))
    if all(one.high is None for one in used):
        return found
    above = of(tuple(one.high or one.model for one in used))
    high, errors_high = max(found.high_ratio, above.high_ratio), max(found.errors_high_ratio, above.errors_high_ratio)
    below = of(tuple(one.low or one.model for one in used))
    return replace(
        found,
        low_ratio=min(found.low_ratio, below.low_ratio),
        high_ratio=high,
        errors_low_ratio=min(found.errors_low_ratio, below.errors_low_ratio),
        errors_high_ratio=errors_high,
        kind="estimate" if found.kind == "exact" else found.kind,
        errors_kind="estimate" if found.errors_kind == "exact" else found.errors_kind,
    )
