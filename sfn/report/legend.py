"""Legends of map layers as SVG: colours, units, and kilometres beneath microseconds."""

from collections.abc import Sequence
from xml.sax.saxutils import escape

from sfn.reception.classes import CLASSES
from sfn.report.colours import Scale, change_colours, class_colours, gradient, named_colours, site_colours
from sfn.report.numbers import number
from sfn.report.scale import round_step, ticks

WIDTH, INSET = 300, 16
CHANGE_SAYS = (
    "loses adequate service",
    "margin falls by 1 dB or more",
    "margin rises by 1 dB or more",
    "gains adequate service",
)
FLAG_SAYS = ("served by the strongest alone, not by all",)
_SVG = '<svg xmlns="http://www.w3.org/2000/svg" role="img"'
_EDGE = 'stroke="#55605f" stroke-width=".5"'
_TEXT = 'font-family="system-ui, sans-serif" fill="#1c2a31"'


def legend(label: str, scale: Scale, *, names: list[str], refractivity_n: float) -> str:
    """The legend of one layer.

    Parameters
    ----------
    label : str
        Title.
    scale : Scale
    names : list of str
        Names of the sites, for the layer of sites.
    refractivity_n : float
        For the kilometres beneath a time scale. [N-units]
    """
    if scale.kind == "sites":
        return _patches(label, names, site_colours(len(names)))
    if scale.kind == "classes":
        colours, words = class_colours(), scale.words or CLASSES
        shown = scale.shown or tuple(range(len(CLASSES)))
        return _patches(label, [words[code] for code in shown], [colours[code] for code in shown])
    if scale.kind == "change":
        return _patches(label, CHANGE_SAYS[::-1], change_colours()[::-1])
    if scale.kind == "flag":
        return _patches(label, FLAG_SAYS, named_colours(scale)[1:])
    stops = "".join(f'<stop offset="{part:.4f}" stop-color="{colour}"/>' for part, colour in gradient(scale))
    length = WIDTH - 2 * INSET
    if scale.unit == "µs":
        made = ticks(scale.low, scale.high, refractivity_n=refractivity_n, signed=scale.kind == "difference", most=6)
        marks = "".join(_mark(INSET + t.place_ratio * length, t.us_text, t.km_text) for t in made)
        unit = "µs above, km of air below"
    else:
        step = round_step(scale.high - scale.low, most=6)
        values = [scale.low + i * step for i in range(int((scale.high - scale.low) / step + 1e-9) + 1)]
        marks = "".join(
            _mark(INSET + (v - scale.low) / (scale.high - scale.low) * length, number(v, 0 if step >= 1 else 1), "")
            for v in values
        )
        unit = scale.unit
    return (
        f'{_SVG} width="{WIDTH}" height="72" viewBox="0 0 {WIDTH} 72">'
        f"<title>{escape(label)}, {escape(unit)}</title>"
        f'<defs><linearGradient id="g">{stops}</linearGradient></defs>'
        f'<text x="{INSET}" y="13" font-size="12" {_TEXT}>{escape(label)}</text>'
        f'<rect x="{INSET}" y="34" width="{length}" height="12" fill="url(#g)" {_EDGE}/>{marks}'
        f'<text x="{INSET}" y="70" font-size="10" {_TEXT}>{escape(beyond(scale))}</text>'
        f'<text x="{WIDTH - INSET}" y="70" font-size="10" text-anchor="end" {_TEXT}>{escape(unit)}</text></svg>'
    )


def beyond(scale: Scale) -> str:
    """What the colours at the ends stand for; 0 and 1 are the natural ends of an amount."""
    low, high = (not (scale.kind == "amount" and end in (0.0, 1.0)) for end in (scale.low, scale.high))
    if low and high:
        return "end colours: and beyond"
    return "right end: and more" if high else "left end: and less" if low else ""


def _mark(x: float, above: str, below: str) -> str:
    """One tick."""
    line = f'<line x1="{x:.1f}" y1="30" x2="{x:.1f}" y2="46" stroke="#1c2a31" stroke-width="1"/>'
    text = f'<text x="{x:.1f}" y="28" font-size="10.5" text-anchor="middle" {_TEXT}>{above}</text>'
    under = f'<text x="{x:.1f}" y="57" font-size="10" text-anchor="middle" {_TEXT}>{below}</text>' if below else ""
    return line + text + under


def _patches(label: str, names: Sequence[str], colours: Sequence[str]) -> str:
    """A legend of named patches."""
    height = 20 + 18 * len(names)
    rows = "".join(
        f'<rect x="{INSET}" y="{22 + 18 * i}" width="14" height="12" fill="{colour}" {_EDGE}/>'
        f'<text x="{INSET + 20}" y="{32 + 18 * i}" font-size="12" {_TEXT}>{escape(name)}</text>'
        for i, (name, colour) in enumerate(zip(names, colours, strict=True))
    )
    return (
        f'{_SVG} width="{WIDTH}" height="{height}" viewBox="0 0 {WIDTH} {height}">'
        f"<title>{escape(label)}</title>"
        f'<text x="{INSET}" y="13" font-size="12" {_TEXT}>{escape(label)}</text>{rows}</svg>'
    )
