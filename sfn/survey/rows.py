"""Tables that people bring: read by `sfn.plan.rows`, which parts below this one use too."""

from sfn.plan.rows import Row, read_rows, refuse, rows_of

__all__ = ["Row", "read_rows", "refuse", "rows_of"]
