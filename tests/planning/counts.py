"""Counts that were published, for forecasts to be tried on."""

from routeapp.planning.rules_rate import Stretch

# Seizures of 59 people with epilepsy: in eight weeks, and then in each of four times two weeks (Thall and Vail,
# Biometrics 46, 1990, 657-671; the set "epil" of R's package MASS). Uneven intervals, a rate for each person.
EPILEPSY = """
11:5:3:3:3 11:3:5:3:3 6:2:4:0:5 8:4:4:1:4 66:7:18:9:21 27:5:2:8:7 12:6:4:0:2 52:40:20:21:12 23:5:6:6:5 10:14:13:6:0
52:26:12:6:22 33:12:6:8:4 18:4:4:6:2 42:7:9:12:14 87:16:24:10:9 50:11:0:0:5 18:0:0:3:3 111:37:29:28:29 18:3:5:2:5
20:3:0:6:7 12:3:4:3:4 9:3:4:3:4 17:2:3:3:5 28:8:12:2:8 55:18:24:76:25 9:2:1:2:1 10:3:1:4:2 47:13:15:13:12 76:11:14:9:8
38:8:7:9:4 19:0:4:3:0 10:3:6:1:3 19:2:6:7:4 24:4:3:1:3 31:22:17:19:16 14:5:4:7:4 11:2:4:0:4 67:3:7:7:7 41:4:18:2:5
7:2:1:1:0 22:0:2:4:0 13:5:4:0:3 46:11:14:25:15 36:10:5:3:8 38:19:7:6:7 7:1:1:2:3 36:6:10:8:8 11:2:1:0:0
151:102:65:72:63 22:4:3:2:4 41:8:6:5:7 32:1:3:1:5 56:18:11:28:13 24:6:3:4:0 16:3:5:4:3 22:1:23:19:8 25:2:3:0:1
13:0:0:0:0 12:1:4:3:2
"""

# Disasters in British coal mines a year, 1851 to 1962 (Jarrett, Biometrika 66, 1979, 191-193; the set "coal" of R's
# package boot): a rate that falls.
MINES = (
    "4541043406334026335453144155342522342132211113001011003103220111010100021000110233112111123300014000100000100101"
)

# Great discoveries a year, 1860 to 1959 (McNeil, Interactive Data Analysis, 1977; the set "discoveries" of R): mean
# 3.1, variance 5.0808, nine years without one.
DISCOVERIES = [
    *(5, 3, 0, 2, 0, 3, 2, 3, 6, 1, 2, 1, 2, 1, 3, 3, 3, 5, 2, 4, 4, 0, 2, 3, 7, 12, 3, 10, 9, 2, 3, 7, 7, 2, 3),
    *(3, 6, 2, 4, 3, 5, 2, 2, 4, 0, 4, 2, 5, 2, 3, 3, 6, 5, 8, 3, 6, 6, 0, 5, 2, 2, 2, 6, 3, 4, 4, 2, 2, 4, 7, 5),
    *(3, 3, 0, 2, 2, 2, 1, 3, 4, 2, 2, 1, 1, 1, 2, 1, 4, 4, 3, 2, 1, 4, 1, 1, 1, 0, 0, 2, 0),
]

# Earthquakes of magnitude 7 or more in the world a year, 1900 to 2006 (Zucchini and MacDonald, Hidden Markov Models for
# Time Series, 2009, table 1.1; written down from memory, with the mean of 19.36 and the variance of 51.57 that the book
# gives): years that hang together.
EARTHQUAKES = [
    *(13, 14, 8, 10, 16, 26, 32, 27, 18, 32, 36, 24, 22, 23, 22, 18, 25, 21, 21, 14, 8, 11, 14, 23, 18, 17, 19, 20),
    *(22, 19, 13, 26, 13, 14, 22, 24, 21, 22, 26, 21, 23, 24, 27, 41, 31, 27, 35, 26, 28, 36, 39, 21, 17, 22, 17, 19),
    *(15, 34, 10, 15, 22, 18, 15, 20, 15, 22, 19, 16, 30, 27, 29, 23, 20, 16, 21, 21, 25, 16, 18, 15, 18, 14, 10, 15),
    *(8, 15, 6, 11, 8, 7, 18, 16, 13, 12, 13, 20, 15, 16, 12, 18, 15, 16, 13, 15, 16, 11, 11),
]

# productC of Hyndman and Athanasopoulos, Forecasting: Principles and Practice, 2nd edition, section 12.2.
PRODUCT_C = [
    *(0, 2, 0, 1, 0, 11, 0, 0, 0, 0, 2, 0),
    *(6, 3, 0, 0, 0, 0, 0, 7, 0, 0, 0, 0),
    *(0, 0, 0, 3, 1, 0, 0, 1, 0, 1, 0, 0),
]


def chance(number: int) -> float:
    """How far the share of so many outcomes that lie in 80 % ranges is from 0.8 by chance, in 95 of 100 cases (normal
    approximation of the binomial)."""
    return 1.96 * (0.8 * 0.2 / number) ** 0.5


def people() -> list[list[Stretch]]:
    """The 59 as five intervals each."""
    counts = [[int(n) for n in one.split(":")] for one in EPILEPSY.split()]
    return [[Stretch(days, n) for days, n in zip((56, 14, 14, 14, 14), one, strict=True)] for one in counts]


def years(text: str | list[int]) -> list[list[Stretch]]:
    return [[Stretch(1.0, int(n)) for n in text]]
