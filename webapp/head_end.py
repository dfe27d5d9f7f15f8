"""Delays that are sent in the stream, as page and paper show them."""

from webapp.contexts.head_end import HeadEndLine
from webapp.release import Released


def head_end_lines(found: Released) -> tuple[HeadEndLine, ...]:
    """The fields of all sites that are entered at the head-end, in the order of the document."""
    made = []
    for line in found.lines:
        away = {f.name: f.transmitter_id or "" for f in line.sheet.site.delay_fields if f.entered_at == "head-end"}
        for route in line.sheet.routes:
            made += [HeadEndLine(line, route, f, away[f.name]) for f in route.fields if f.name in away]
    return tuple(made)
