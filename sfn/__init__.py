"""The engine: delays, field strength, reception, offsets and measurements of single-frequency networks.

A library to import in a notebook, and a command line (``python -m sfn``). Plain functions and frozen
records, arrays in and arrays out; no web, no database, no state. In the order of the job:

`plan`        the network document and its records
`geodesy`     positions as people write them, geodesics, travel times, map grids
`chain`       latency and tolerance of a route
`timing`      common delay, added delay, settings, launch times
`pairs`       two sites on their line, loops of three
`antenna`, `terrain`, `propagation`, `field`   what each site radiates and how strong it arrives
`systems`     broadcast systems: OFDM, FM stereo, 8-VSB, with their published tables
`reception`   what a listener gets: at a point, over an area, along a road
`solve`       timing offsets that serve the most people
`stream`, `clock`   links to the transmitters and the clocks at them
`survey`      measurements taken on air, reconciled with the plan
`check`       every problem of a document
`report`, `answer`   numbers as people and scripts read them
"""

__version__ = "0.1.0"
