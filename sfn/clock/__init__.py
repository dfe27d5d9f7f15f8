"""Clocks at the transmitters: how far they run off without their reference, and what the reference itself is worth.

`holdover` time error and time to a limit, of one clock and of two; `oscillator` classes with typical values;
`reference` antenna cable, asymmetry and time scale of timing receivers.
"""
