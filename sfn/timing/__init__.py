"""Common delay, added delay, settings and launch times: the number that each device takes.

``added = common delay + offset - latency``, met as nearly as whole steps allow. `totals` finds what steps can reach,
`device` holds a site's fields as such steps, `setting` splits one added delay over them; `table` walks the network and
fills the delay table; `failover`, `reachable` and `missing` are parts of it, and `problems` says what cannot be set.
"""

from sfn.timing.device import field_limits
from sfn.timing.row import DelayRow, DelayTable, Term
from sfn.timing.setting import FieldSetting, commissioning_of, commissioning_settings, settings_for
from sfn.timing.table import delay_table

__all__ = [
    "DelayRow",
    "DelayTable",
    "FieldSetting",
    "Term",
    "commissioning_of",
    "commissioning_settings",
    "delay_table",
    "field_limits",
    "settings_for",
]
