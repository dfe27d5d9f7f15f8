"""How much later a second path comes, and what a plan adds for it: the two figures of it, each by its name."""

from collections.abc import Mapping
from math import ceil
from typing import cast


def later_ms(found: Mapping[str, object]) -> str:
    """What a plan adds for the second path, to the next microsecond so that it is never short. [ms]"""
    return f"{ceil(cast(float, found['second_longer_us'])) / 1000:.3f}"


def second_path_said(found: Mapping[str, object]) -> str:
    """What a plan with both recorded paths adds for the second one, and what of it is a longer way.

    Parameters
    ----------
    found : mapping
        With `second_longer_us` and `differential_us`, as ``loss --json`` has them.
    """
    longer_us, way_us = ceil(cast(float, found["second_longer_us"])), cast(float, found["differential_us"])
    way = f"its least delay is {abs(way_us) / 1000:.3f} ms {'longer' if way_us > 0 else 'shorter'} than the first's"
    if longer_us == 0:
        return f"a plan with both paths adds nothing for the second one: {way}, if one clock stamped both"
    rest_us = longer_us - max(way_us, 0.0)
    varies = "" if rest_us <= 1 else f", and its greater delay variation takes {rest_us / 1000:.3f} ms"
    return (
        f"a plan with both paths adds {later_ms(found)} ms to the first path's delay variation for the second one: "
        f"{way}{varies}, if one clock stamped both"
    )
