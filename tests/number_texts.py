"""One table of numbers as people write them, to which every reader is held: tables, forms and the phone's script."""

READ = {
    "12,5": 12.5,
    "0,125": 0.125,
    "-1,2345": -1.2345,
    "1.234": 1.234,
    "120 000": 120_000.0,
    "122\u202f602,9": 122_602.9,
    "\u22123": -3.0,
    "+4.5": 4.5,
    ".5": 0.5,
    "5.": 5.0,
    "1e-3": 0.001,
    "1e3": 1000.0,
    " 850 ": 850.0,
}
"""What can mean one thing, and that thing."""
TWO_WAYS = {"1,234": "1.234 or 1234", "-382,700": "-382.700 or -382700", "12,000": "12.000 or 12000"}
"""What can mean two, and both."""
NO_NUMBER = (
    "",
    "x",
    "1_000",
    "nan",
    "inf",
    "1,234.5",
    "1.234,5",
    "12 34",
    "1e999",
    "9" * 61,
    "12 5",
    "\u0663",
    "1,2,3",
)
"""What is none."""
