"""A map of the objective over two sites' offsets, drawn as SVG with the light ruler on both sides."""

from collections.abc import Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from sfn.report.colours import Scale, gradient
from sfn.report.numbers import number
from sfn.report.scale import Tick, ticks

LEFT, TOP, SIDE, BELOW, BESIDE = 92, 26, 300, 62, 96
SHAPES = {"saved": "circle", "found": "square", "least shown": "cross"}


def plane_svg(
    a_us: Sequence[float],
    b_us: Sequence[float],
    values: NDArray[np.float64],
    *,
    names: tuple[str, str],
    label: str,
    marks: Sequence[tuple[str, float, float]],
    refractivity_n: float,
) -> str:
    """SVG of values over two offsets: the first to the right, the second upwards; dark is least.

    Parameters
    ----------
    a_us, b_us : sequence of float, rising
        Offsets at the middles of the cells. [us]
    values : ndarray, shape (len(a_us), len(b_us))
    names : pair of str
        Of the sites.
    label : str
        What the values are.
    marks : sequence of (name, offset of a, offset of b)
        Named as in `SHAPES`. [us]
    refractivity_n : float
        For the kilometres. [N-units]

    Raises
    ------
    ValueError
        If the shapes differ, or there are fewer than two offsets of a site.
    """
    if values.shape != (len(a_us), len(b_us)) or min(values.shape) < 2:
        raise ValueError(f"values must have the shape ({len(a_us)}, {len(b_us)}), two or more, got {values.shape}")
    low, high = float(values.min()), float(values.max())
    stops = gradient(Scale("amount", 0, 1, ""), steps=17)
    wide, tall = SIDE / len(a_us), SIDE / len(b_us)
    width, height = LEFT + SIDE + BESIDE, TOP + SIDE + BELOW

    def x(us: float) -> float:
        return LEFT + wide / 2 + (us - a_us[0]) / (a_us[-1] - a_us[0]) * (SIDE - wide)

    def y(us: float) -> float:
        return TOP + SIDE - tall / 2 - (us - b_us[0]) / (b_us[-1] - b_us[0]) * (SIDE - tall)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'font-family="DejaVu Sans, sans-serif" font-size="10" role="img"><title>{escape(label)}</title>'
    ]
    for i, j in np.ndindex(values.shape):
        part = (values[i, j] - low) / (high - low) if high > low else 0.0
        colour = stops[round(float(part) * (len(stops) - 1))][1]
        at = f'x="{LEFT + i * wide:.1f}" y="{TOP + SIDE - (j + 1) * tall:.1f}"'
        parts.append(f'<rect {at} width="{wide + 0.3:.1f}" height="{tall + 0.3:.1f}" fill="{colour}"/>')
    for tick in ticks(a_us[0], a_us[-1], refractivity_n=refractivity_n, signed=True, most=6):
        at_x = LEFT + wide / 2 + tick.place_ratio * (SIDE - wide)
        parts.append(f'<path d="M{at_x:.1f} {TOP + SIDE}v4" stroke="#555"/>')
        parts += _text(at_x, TOP + SIDE + 15, tick, "middle", 12)
    for tick in ticks(b_us[0], b_us[-1], refractivity_n=refractivity_n, signed=True, most=6):
        at_y = TOP + SIDE - tall / 2 - tick.place_ratio * (SIDE - tall)
        parts.append(f'<path d="M{LEFT - 4} {at_y:.1f}h4" stroke="#555"/>')
        parts += _text(LEFT - 7, at_y, tick, "end", 11)
    parts.append(f'<text x="{LEFT + SIDE / 2}" y="{TOP + SIDE + 44}" text-anchor="middle">{escape(names[0])}</text>')
    middle = TOP + SIDE / 2
    parts.append(
        f'<text x="14" y="{middle}" text-anchor="middle" transform="rotate(-90 14 {middle})">{escape(names[1])}</text>'
    )
    parts.append(f'<text x="4" y="{height - 4}" fill="#555">µs of offset, km of air below</text>')
    parts += _bar(low, high, label, stops)
    for k, (name, a, b) in enumerate(marks):
        beside = LEFT + SIDE + 12, TOP + 150 + 18 * k
        parts += [_mark(name, *beside), f'<text x="{beside[0] + 12}" y="{beside[1] + 3}">{escape(name)}</text>']
        if a_us[0] <= a <= a_us[-1] and b_us[0] <= b <= b_us[-1]:
            parts.append(_mark(name, x(a), y(b)))
    return "".join(parts) + "</svg>"


def _text(x: float, y: float, tick: Tick, anchor: str, below: int) -> list[str]:
    """Microseconds, and kilometres beneath."""
    return [
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{tick.us_text}</text>',
        f'<text x="{x:.1f}" y="{y + below:.1f}" text-anchor="{anchor}" fill="#777">{tick.km_text}</text>',
    ]


def _bar(low: float, high: float, label: str, stops: Sequence[tuple[float, str]]) -> list[str]:
    """What the colours mean."""
    left, tall, decimals = LEFT + SIDE + 8, 110, 0 if high - low >= 20 else 1
    made = [f'<text x="{LEFT}" y="{TOP - 12}">{escape(label)}</text>']
    for k, (_, colour) in enumerate(stops):
        at = TOP + tall - (k + 1) * tall / len(stops)
        made.append(
            f'<rect x="{left}" y="{at:.1f}" width="12" height="{tall / len(stops) + 0.3:.1f}" fill="{colour}"/>'
        )
    return [
        *made,
        f'<text x="{left + 16}" y="{TOP + 9}">{number(high, decimals)}</text>',
        f'<text x="{left + 16}" y="{TOP + tall}">{number(low, decimals)}</text>',
    ]


def _mark(name: str, x: float, y: float) -> str:
    """A circle, a square or a cross, dark with a pale rim, so that it shows on every colour."""
    shape = SHAPES.get(name, "circle")
    if shape == "cross":
        drawn = f'd="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10" fill="none"'
    elif shape == "square":
        drawn = f'd="M{x - 5:.1f} {y - 5:.1f}h10v10h-10z" fill="none"'
    else:
        drawn = f'd="M{x - 5:.1f} {y:.1f}a5 5 0 1 0 10 0a5 5 0 1 0 -10 0z" fill="none"'
    rim, line = 'stroke="#fff" stroke-width="4.5"', 'stroke="#a3430f" stroke-width="2"'
    return f"<path {drawn} {rim}/><path {drawn} {line}/>"
