"""The timing offsets that serve most: objective, limits, convex start, search.

`objective` says what is better and evaluates it from the reception of `sfn.reception.quality`, only where a moved
site matters; `limits` says what may be chosen; `start` solves the convex problem beneath; `search` looks for more.
"""
