"""Charts of links, losses and clocks: which figures go on which scale."""

from collections.abc import Sequence

import numpy as np

from sfn.clock.holdover import Clock, greatest_error
from sfn.report.charts import Axis, Curve, lines, strip
from sfn.stream.advise import Choice
from sfn.stream.buffer import Hour
from sfn.stream.loss import LossModel
from sfn.stream.measured import Measured

HOUR_S = 3600.0
LONGEST_H = 10_000_000.0  # a thousand years: longer waits are drawn at the edge


def advice_chart(choices: Sequence[Choice]) -> str:
    """Time between audible errors against latency, one curve for each number of paths: the unbeaten choices."""
    shown = [c for c in choices if c.left is not None and c.unbeaten and c.error_every_s]
    if not shown:
        return ""
    longest = max(c.plan.latency_us for c in shown) / 1000
    every = [min((c.error_every_s or 0.0) / HOUR_S, LONGEST_H) for c in shown]
    curves = []
    for paths, name in ((1, "one path"), (2, "two paths")):
        points = sorted(
            (c.plan.latency_us / 1000, e) for c, e in zip(shown, every, strict=True) if c.plan.paths == paths
        )
        if points:
            curves.append(Curve(name, points))
    x = Axis("latency, ms", 0.0, longest * 1.05)
    low, high = 10 ** np.floor(np.log10(min(every))), 10 ** np.ceil(np.log10(max(every)) + 1e-9)
    y = Axis("h between errors", float(low), float(max(high, low * 10)), logarithmic=True)
    return lines("Best that each latency buys: hours between audible errors", curves, x=x, y=y)


def burst_chart(measured: Measured, model: LossModel | None) -> str:
    """Share of bursts longer than a number of packets, counted and as the two-state model has it."""
    lengths = np.sort(measured.burst_lengths)
    if lengths.size == 0:
        return ""
    longest = int(lengths[-1])
    steps = np.unique(np.concatenate(([0], np.geomspace(1, max(longest, 2), 60)))).astype(int)
    counted = [(float(k + 1), float((lengths > k).mean())) for k in steps if (lengths > k).any()]
    curves = [Curve("counted", counted)]
    if model is not None:
        curves.append(Curve("two-state model", [(float(k + 1), model.burst_exceeds(int(k))) for k in steps]))
    low = 10 ** np.floor(np.log10(min(y for _, y in counted)))
    x = Axis("packets, at least", 1.0, float(max(longest * 1.2, 3)), logarithmic=longest > 20)
    y = Axis("share of bursts", float(min(low, 0.1)), 1.0, logarithmic=True)
    return lines("How long bursts are", curves, x=x, y=y)


def delay_chart(measured: Measured) -> str:
    """Share of packets later than a delay above the least."""
    arrived = np.sort(measured.delay_us[~np.isnan(measured.delay_us)]) / 1000
    shares = np.geomspace(1.0, 1 / arrived.size, 120)
    at = np.clip(((1 - shares) * arrived.size).astype(int), 0, arrived.size - 1)
    points = [(float(arrived[k]), float(s)) for k, s in zip(at, shares, strict=True)]
    x = Axis("ms above the least", 0.0, float(max(arrived[-1] * 1.02, 1e-3)))
    y = Axis("share later", float(10 ** np.floor(np.log10(1 / arrived.size))), 1.0, logarithmic=True)
    return lines("Packets later than a delay", [Curve("packets", points)], x=x, y=y)


def hours_chart(hours: Sequence[Hour]) -> str:
    """The release delay that each hour would have needed, as a strip."""
    values = [(f"{h.hour_of_day:02d}", None if h.variation is None else h.variation.delay_us / 1000) for h in hours]
    return strip("Delay variation to cover, hour by hour, ms", values[:48], unit="ms")


def holdover_chart(clocks: Sequence[tuple[str, Clock]], *, limit_us: float, limit_name: str) -> str:
    """Greatest error against the time without reference, from a quarter of an hour to a month."""
    hours = np.geomspace(0.25, 720, 120)
    curves = [
        Curve(name, [(float(t), max(float(e), 1e-6)) for t, e in zip(hours, errors, strict=True)])
        for name, clock in clocks
        for errors in [greatest_error(clock, after_h=hours)]
    ]
    low = min(limit_us / 100, 0.1)
    x = Axis("h without reference", 0.25, 720.0, logarithmic=True)
    y = Axis("µs, at worst", low, max(limit_us * 1000, 1000.0), logarithmic=True)
    return lines("Time error without reference", curves, x=x, y=y, limit=(limit_us, limit_name))
