"""Every problem of a document that can be read, in reading order.

`everything` is the one place that says all of it. `chains` looks at stages and the distribution tree, `streams` at
stages that rest on a stream plan, `stamps` at what time stamps mean, `devices` at delay fields, `references` at time
references, `positions` at where the sites stand, `antennas` at their patterns, `heights` at the ground, `off_air` at
sites fed off air, `routes` at the order of stages and at standby routes, `entries` at days, limits and power, `words`
at names, `band` at the frequency; what cannot be set comes from the delay table itself.
"""

from sfn.check.everything import all_problems, all_problems_in

__all__ = ["all_problems", "all_problems_in"]
