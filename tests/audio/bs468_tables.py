"""ITU-R BS.468-4, table 1 (response and tolerance of the weighting) and clause 2 (what bursts read).

The burst tables, and the tolerance at 31.5 kHz, are given from memory of the Recommendation: no copy that shows them
was at hand.
"""

INFINITE = float("inf")

# frequency in Hz, response in dB re 1 kHz, upper and lower tolerance in dB
TABLE_1 = [
    (31.5, -29.9, 2.0, -2.0),
    (63, -23.9, 1.4, -1.4),
    (100, -19.8, 1.0, -1.0),
    (200, -13.8, 0.85, -0.85),
    (400, -7.8, 0.7, -0.7),
    (800, -1.9, 0.55, -0.55),
    (1000, 0, 0.5, -0.5),
    (2000, 5.6, 0.5, -0.5),
    (3150, 9.0, 0.5, -0.5),
    (4000, 10.5, 0.5, -0.5),
    (5000, 11.7, 0.5, -0.5),
    (6300, 12.2, 0, 0),
    (7100, 12.0, 0.2, -0.2),
    (8000, 11.4, 0.4, -0.4),
    (9000, 10.1, 0.6, -0.6),
    (10000, 8.1, 0.8, -0.8),
    (12500, 0, 1.2, -1.2),
    (14000, -5.3, 1.4, -1.4),
    (16000, -11.7, 1.6, -1.6),
    (20000, -22.2, 2.0, -2.0),
    (31500, -42.7, 2.8, -INFINITE),
]

# length of a single burst of 5 kHz in ms; reading in per cent of the steady one: nominal, lower and upper limit
SINGLE_BURSTS = [
    (1, 17.0, 13.5, 21.4),
    (2, 26.6, 22.4, 31.6),
    (5, 40.0, 34.0, 46.0),
    (10, 48.0, 41.0, 55.0),
    (20, 52.0, 44.0, 60.0),
    (50, 59.0, 50.0, 68.0),
    (100, 68.0, 58.0, 78.0),
    (200, 80.0, 68.0, 92.0),
]

# bursts of 5 ms of 5 kHz, so many a second: nominal, lower and upper limit
REPEATED_BURSTS = [(2, 48.0, 43.0, 53.0), (10, 77.0, 72.0, 82.0), (100, 97.0, 94.0, 100.0)]

OVERSWING_LIMIT_DB = 0.3
REVERSIBILITY_LIMIT_DB = 0.5
