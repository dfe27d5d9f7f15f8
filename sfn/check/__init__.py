"""Every problem of a document that can be read, in reading order.

`chains` looks at stages and the distribution tree, `streams` at stages that rest on a stream plan, `devices` at delay
fields, `positions` at where the sites stand; what cannot be set comes from the delay table itself.
"""

from sfn.check.everything import check, check_on_ground

__all__ = ["check", "check_on_ground"]
