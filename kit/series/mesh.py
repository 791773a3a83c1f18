"""Sifters: mesh number to opening, as the standards for test sieves give it."""

OPENING_UM = {
    20: 850,
    25: 710,
    30: 600,
    35: 500,
    40: 425,
    45: 355,
    50: 300,
    60: 250,
    70: 212,
    80: 180,
    100: 150,
    120: 125,
    140: 106,
    170: 90,
    200: 75,
    230: 63,
    270: 53,
    325: 45,
    400: 38,
}
"""Nominal opening in micrometres by mesh number.

ASTM E11, table 1, alternative sieve designations; the openings are those of ISO 3310-1 (R 40/3
series). Written from memory of the standards and checked in tests/series/test_mesh.py against the
series' own rule.
"""
