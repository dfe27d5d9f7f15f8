"""The engine for notebooks and scripts: six functions, answers as records with `document`, `says` and `to_frame()`.

``import sfn`` offers them all. An answer's `document` is what the command of that name prints with ``--json``;
`says` is what the figures rest on and leave out; problems are data. Signatures stand in DEVELOPERS.md and are kept.
"""
