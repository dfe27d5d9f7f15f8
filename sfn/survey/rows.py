"""Tables that people bring: read by `sfn.plan.rows`, which parts below this one use too."""

from sfn.plan.rows import MOST_PROBLEMS, Row, read_rows, refuse, rows_of

__all__ = ["MOST_PROBLEMS", "Row", "read_rows", "refuse", "rows_of"]
