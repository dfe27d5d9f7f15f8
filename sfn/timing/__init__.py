"""Common delay, added delay, settings and launch times: the number that each device takes.

``added = common delay + offset - latency``, rounded to the device's step. `setting` splits one added delay
over a site's fields; `table` walks the network and fills the delay table; `problems` says what cannot be set.
"""

from sfn.timing.setting import FieldSetting, field_limits, settings_for
from sfn.timing.table import DelayRow, DelayTable, Term, delay_table

__all__ = ["DelayRow", "DelayTable", "FieldSetting", "Term", "delay_table", "field_limits", "settings_for"]
