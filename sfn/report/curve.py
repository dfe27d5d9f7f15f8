"""A curve of the objective over one site's offset, drawn as SVG with the light ruler beneath."""

from collections.abc import Sequence
from html import escape

from sfn.report.numbers import number
from sfn.report.scale import round_step, ticks

WIDTH, HEIGHT, LEFT, TOP, BELOW = 420, 170, 62, 14, 46


def curve_svg(
    offsets_us: Sequence[float],
    values: Sequence[float],
    *,
    label: str,
    marks: Sequence[tuple[str, float]],
    refractivity_n: float,
) -> str:
    """SVG of a curve.

    Parameters
    ----------
    offsets_us, values : sequence of float, same length
        Offsets in rising order, and the objective at each. [us]
    label : str
        What the values are.
    marks : sequence of (name, offset)
        Vertical lines. [us]
    refractivity_n : float
        For the kilometres beneath. [N-units]

    Raises
    ------
    ValueError
        If there are fewer than two offsets.
    """
    if len(offsets_us) < 2:
        raise ValueError(f"offsets_us must have two values or more, got {len(offsets_us)}")
    low, high = offsets_us[0], offsets_us[-1]
    bottom, top = min(values), max(values)
    step = round_step(max(top - bottom, 1e-6, abs(top) * 1e-4), most=4)
    bottom, top = step * (bottom // step), step * (top // step + 1)

    def x(us: float) -> float:
        return LEFT + (us - low) / (high - low) * (WIDTH - LEFT - 14)

    def y(value: float) -> float:
        return TOP + (top - value) / (top - bottom) * (HEIGHT - TOP - BELOW)

    base = HEIGHT - BELOW
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'font-family="DejaVu Sans, sans-serif" font-size="10" role="img"><title>{escape(label)}</title>'
    ]
    decimals = 0 if step >= 1 else 1 if step >= 0.1 else 2
    for i in range(round((top - bottom) / step) + 1):
        value = bottom + i * step
        parts.append(f'<path d="M{LEFT} {y(value):.1f}H{WIDTH - 14}" stroke="#d8d2bf" stroke-width="0.7"/>')
        parts.append(f'<text x="{LEFT - 5}" y="{y(value) + 3:.1f}" text-anchor="end">{number(value, decimals)}</text>')
    for tick in ticks(low, high, refractivity_n=refractivity_n, signed=True):
        at = LEFT + tick.place_ratio * (WIDTH - LEFT - 14)
        parts.append(f'<path d="M{at:.1f} {base}v4" stroke="#555"/>')
        parts.append(f'<text x="{at:.1f}" y="{base + 15}" text-anchor="middle">{tick.us_text}</text>')
        parts.append(f'<text x="{at:.1f}" y="{base + 27}" text-anchor="middle" fill="#777">{tick.km_text}</text>')
    parts.append(f'<text x="{LEFT}" y="{HEIGHT - 5}">µs of offset, km of air below</text>')
    points = " ".join(f"{x(us):.1f},{y(value):.1f}" for us, value in zip(offsets_us, values, strict=True))
    parts.append(f'<polyline points="{points}" fill="none" stroke="#264653" stroke-width="1.6"/>')
    for k, (name, us) in enumerate(marks):
        if low <= us <= high:
            parts.append(f'<path d="M{x(us):.1f} {TOP}V{base}" stroke="#8c510a" stroke-dasharray="{3 + 3 * k} 3"/>')
            # names stand away from each other's lines
            left = us < min(at for _, at in marks) + 1e-9 and len(marks) > 1 and x(us) > LEFT + 40
            side = 'text-anchor="end"' if left else 'text-anchor="start"'
            at_x = x(us) + (-3 if left else 3)
            parts.append(f'<text x="{at_x:.1f}" y="{TOP + 9 + 11 * k}" {side} fill="#8c510a">{escape(name)}</text>')
    return "".join(parts) + "</svg>"
