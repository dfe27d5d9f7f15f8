"""Charts as SVG: curves on linear or logarithmic scales, bars in a row, a strip of hours.

Drawn without style attributes, which the page's policy forbids; widths scale, so letters are large enough at 360 units
for a telephone. Every chart has a title for those who cannot see it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from sfn.report.colours import site_colours
from sfn.report.numbers import number
from sfn.report.scale import round_step
from sfn.units import THIN

WIDTH, HEIGHT = 360, 230
LEFT, RIGHT, TOP, BOTTOM = 46, 12, 14, 38
INK, QUIET, RULE, RUST = "#1c2a31", "#55605f", "#cfc7b2", "#a3430f"
_TEXT = 'font-family="system-ui, sans-serif" font-size="10.5"'
_SVG = '<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" preserveAspectRatio="xMinYMin meet"'
_DASHES = ("", "5 3", "2 2", "8 3 2 3")


@dataclass(frozen=True, slots=True)
class Curve:
    """One line of a chart; points beyond the scale are left out."""

    name: str
    points: Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale: its ends, what it says, and whether it is logarithmic."""

    label: str
    low: float
    high: float
    logarithmic: bool = False

    def place(self, value: float) -> float:
        """Place of a value as a part of the scale's length."""
        if self.logarithmic:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)

    def ticks(self, most: int) -> list[float]:
        """Round values along the scale."""
        if self.logarithmic:
            powers = range(math.ceil(math.log10(self.low) - 1e-9), math.floor(math.log10(self.high) + 1e-9) + 1)
            every = max(1, math.ceil(len(powers) / most))
            return [10.0**p for p in powers if p % every == 0]
        step = round_step(self.high - self.low, most=most)
        first = math.ceil(self.low / step - 1e-9)
        return [k * step for k in range(first, math.floor(self.high / step + 1e-9) + 1)]


def lines(title: str, curves: Sequence[Curve], *, x: Axis, y: Axis, limit: tuple[float, str] | None = None) -> str:
    """Curves over a common scale, with a level across them.

    Parameters
    ----------
    title : str
        What the chart shows, for people and screen readers.
    curves : sequence of Curve
        At most ten are told apart by colour, and by their dashes.
    x, y : Axis
    limit : tuple of (float, str), optional
        A level and what it is.
    """
    parts = [_frame(x, y)]
    if limit is not None and 0 <= y.place(limit[0]) <= 1:
        at = _y(y, limit[0])
        parts.append(_line(LEFT, at, WIDTH - RIGHT, at, RUST, dash="6 3"))
        parts.append(_text(WIDTH - RIGHT, at - 4, limit[1], anchor="end", colour=RUST))
    colours = site_colours(len(curves))
    for n, (curve, colour) in enumerate(zip(curves, colours, strict=True)):
        shown = [(_x(x, a), _y(y, b)) for a, b in curve.points if _on(x, a) and _on(y, b)]
        if len(shown) > 1:
            path = " ".join(f"{a:.1f},{b:.1f}" for a, b in shown)
            dash = f' stroke-dasharray="{_DASHES[n % 4]}"' if n % 4 else ""
            parts.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"{dash}/>')
    key_rows = math.ceil(len(curves) / 2) if len(curves) > 1 else 0
    for n, (curve, colour) in enumerate(zip(curves, colours, strict=True)):
        if key_rows:
            parts.append(_key(n, curve.name, colour))
    return _whole(title, parts, height=HEIGHT + 16 * key_rows)


def bars(title: str, values: Sequence[tuple[str, float]], *, unit: str) -> str:
    """Amounts one under the other, longest first in scale, each with its figure."""
    longest = max((v for _, v in values), default=0.0) or 1.0
    parts = []
    for n, (name, value) in enumerate(values):
        top = 6 + 34 * n
        length = (WIDTH - 2 * 4) * value / longest
        parts.append(_text(4, top + 10, name))
        parts.append(_text(WIDTH - 4, top + 10, f"{number(value, _decimals(value))}{THIN}{unit}", anchor="end"))
        parts.append(f'<rect x="4" y="{top + 14}" width="{max(length, 0.5):.1f}" height="10" fill="#0b5a66"/>')
    return _whole(title, parts, height=10 + 34 * len(values))


def strip(title: str, hours: Sequence[tuple[str, float | None]], *, unit: str, limit: float | None = None) -> str:
    """A column an hour; hours without a figure are left open. `limit` is drawn across."""
    known = [v for _, v in hours if v is not None]
    high = max([*known, limit or 0.0, 1e-9])
    y = Axis(unit, 0.0, high * 1.08)
    parts = [_left(y)]
    width = (WIDTH - LEFT - RIGHT) / max(len(hours), 1)
    for n, (name, value) in enumerate(hours):
        left = LEFT + n * width
        if value is not None:
            top = _y(y, value)
            parts.append(
                f'<rect x="{left + 0.08 * width:.1f}" y="{top:.1f}" width="{0.84 * width:.1f}" '
                f'height="{max(HEIGHT - BOTTOM - top, 0.5):.1f}" fill="#0b5a66"><title>{escape(name)}: '
                f"{number(value, _decimals(value))} {escape(unit)}</title></rect>"
            )
        if n % max(1, math.ceil(len(hours) / 12)) == 0:
            parts.append(_text(left + width / 2, HEIGHT - BOTTOM + 13, name, anchor="middle"))
    if limit is not None:
        at = _y(y, limit)
        parts.append(_line(LEFT, at, WIDTH - RIGHT, at, RUST, dash="6 3"))
    parts.append(_text(WIDTH - RIGHT, HEIGHT - 6, "hour of the day", anchor="end", colour=QUIET))
    return _whole(title, parts, height=HEIGHT)


def _frame(x: Axis, y: Axis) -> str:
    """Both scales."""
    marks = "".join(
        _line(_x(x, v), TOP, _x(x, v), HEIGHT - BOTTOM, RULE)
        + _text(_x(x, v), HEIGHT - BOTTOM + 13, _tick(v, x), anchor="middle")
        for v in x.ticks(6)
    )
    label = _text(WIDTH - RIGHT, HEIGHT - 8, x.label, anchor="end", colour=QUIET)
    return marks + label + _left(y)


def _left(y: Axis) -> str:
    """The vertical scale."""
    marks = "".join(
        _line(LEFT, _y(y, v), WIDTH - RIGHT, _y(y, v), RULE)
        + _text(LEFT - 4, _y(y, v) + 3.5, _tick(v, y), anchor="end")
        for v in y.ticks(6)
    )
    base = _line(LEFT, HEIGHT - BOTTOM, WIDTH - RIGHT, HEIGHT - BOTTOM, INK)
    return marks + base + _text(4, 9, y.label, colour=QUIET)


def _x(axis: Axis, value: float) -> float:
    """Place across."""
    return LEFT + axis.place(value) * (WIDTH - LEFT - RIGHT)


def _y(axis: Axis, value: float) -> float:
    """Place up."""
    return HEIGHT - BOTTOM - axis.place(value) * (HEIGHT - TOP - BOTTOM)


def _on(axis: Axis, value: float) -> bool:
    """Whether a value lies on the scale."""
    if not math.isfinite(value) or (axis.logarithmic and value <= 0):
        return False
    return -1e-9 <= axis.place(value) <= 1 + 1e-9


def _tick(value: float, axis: Axis) -> str:
    """A tick's figure."""
    if axis.logarithmic and (value >= 1e5 or value < 1e-3):
        return f"1e{round(math.log10(value))}"
    return number(value, _decimals(value) if value else 0)


def _decimals(value: float) -> int:
    """Decimals for about three figures."""
    if value == 0:
        return 0
    for decimals in range(7):
        if math.isclose(round(value, decimals), value, rel_tol=1e-9):
            return min(decimals, max(0, 2 - math.floor(math.log10(abs(value)))))
    return max(0, 2 - math.floor(math.log10(abs(value))))


def _key(n: int, name: str, colour: str) -> str:
    """One entry of the key under the chart."""
    left, top = LEFT + (n % 2) * 155, HEIGHT + 4 + 16 * (n // 2)
    dash = f' stroke-dasharray="{_DASHES[n % 4]}"' if n % 4 else ""
    line = f'<line x1="{left}" y1="{top}" x2="{left + 22}" y2="{top}" stroke="{colour}" stroke-width="2.5"{dash}/>'
    return line + _text(left + 27, top + 3.5, name if len(name) <= 20 else name[:19] + "…")


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, *, dash: str = "") -> str:
    """A straight line."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="1"{dashes}/>'


def _text(x: float, y: float, text: str, *, anchor: str = "start", colour: str = INK) -> str:
    """Letters."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}" {_TEXT}>{escape(text)}</text>'


def _whole(title: str, parts: Sequence[str], *, height: float) -> str:
    """The finished picture."""
    inside = "".join(parts)
    return f'{_SVG} viewBox="0 0 {WIDTH} {height:.0f}"><title>{escape(title)}</title>{inside}</svg>'
