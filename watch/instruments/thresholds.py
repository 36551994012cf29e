"""From which values on an instrument is not believed: one table, each line with its source or the word judgement."""

from dataclasses import dataclass

from watch.instruments.readings import DoubtKind, Quantity
from watch.units import KN_PER_MS

Q = Quantity
WINDS = (Q.APPARENT_WIND_MS, Q.TRUE_WIND_MS, Q.GROUND_WIND_MS)
WIND_ANGLES = (Q.APPARENT_ANGLE_DEG, Q.TRUE_ANGLE_DEG, Q.GROUND_ANGLE_DEG, Q.TRUE_FROM_DEG, Q.TRUE_FROM_MAGNETIC_DEG)
BOAT_SPEEDS = (Q.WATER_SPEED_MS, Q.GROUND_SPEED_MS)
HEADINGS = (Q.HEADING_DEG, Q.HEADING_MAGNETIC_DEG)
PRESSURE = (Q.PRESSURE_PA,)
POSITION = (Q.LATITUDE_DEG, Q.LONGITUDE_DEG)


@dataclass(frozen=True)
class Threshold:
    """One line of the table: for which doubt and quantities, what the limits mean, the limits, their source."""

    kind: DoubtKind
    quantities: tuple[Quantity, ...]
    means: str
    limits: tuple[float, ...]
    source: str


_BOUNDS = "least and most"
_NEIGHBOURS = "above or below both neighbours by; neighbours within [s]"
_STILL = "not the least change for [s], and at least so many readings"
THRESHOLDS = (
    Threshold(DoubtKind.RANGE, WINDS, f"{_BOUNDS} [m/s]", (0.0, 75.0), "aws-qc-1"),
    Threshold(DoubtKind.RANGE, PRESSURE, f"{_BOUNDS} [Pa]; records 870 and 1085 hPa", (85e3, 109e3), "sea-pressure-record-1"),
    Threshold(DoubtKind.RANGE, (Q.WATER_SPEED_MS,), f"{_BOUNDS} [m/s]", (0.0, 20.0), "judgement"),
    Threshold(DoubtKind.RANGE, (Q.GROUND_SPEED_MS,), f"{_BOUNDS} [m/s]", (0.0, 25.0), "judgement"),
    Threshold(DoubtKind.SPIKE, WINDS, f"{_NEIGHBOURS} [m/s]", (20.0, 10.0), "aws-qc-1"),
    Threshold(DoubtKind.SPIKE, BOAT_SPEEDS, f"{_NEIGHBOURS} [m/s]", (5.0, 10.0), "judgement"),
    # A boat that heaves 5 m shows 0.6 hPa by itself: air is lighter by 0.12 hPa a metre.
    Threshold(DoubtKind.SPIKE, PRESSURE, f"{_NEIGHBOURS} [Pa]", (200.0, 300.0), "judgement"),
    Threshold(DoubtKind.JUMP, PRESSURE, "changes by [Pa] within [s] and stays changed", (300.0, 60.0), "judgement"),
    # The guideline asks of a land station 0.5 m/s, 10 degrees and 0.1 hPa in 60 minutes; at sea a mast is never still so long,
    # while many barometers give whole hectopascals only.
    Threshold(DoubtKind.STUCK, (*WINDS, *WIND_ANGLES, Q.WATER_SPEED_MS), _STILL, (600.0, 20.0), "judgement, after aws-qc-1"),
    Threshold(DoubtKind.STUCK, HEADINGS, _STILL, (1800.0, 20.0), "judgement"),
    Threshold(DoubtKind.STUCK, PRESSURE, _STILL, (10800.0, 20.0), "judgement, after aws-qc-1"),
    Threshold(DoubtKind.RANGE, (Q.VARIATION_DEG,), f"{_BOUNDS} [deg]; away from the magnetic poles", (-60.0, 60.0), "judgement"),
    Threshold(DoubtKind.LEAP, POSITION, "faster than [m/s] beyond a scatter of [m]; after so many fixes the place is believed",
              (25.0, 200.0, 3.0), "judgement"),
    Threshold(DoubtKind.NULL_ISLAND, POSITION, "within [deg] of 0 N 0 E", (1e-4,), "judgement"),
    Threshold(DoubtKind.UNIT_MIXUP, WINDS, "ratio of two instruments that near a ratio of units; both above [m/s]; so many pairs",
              (0.03, 2.0, 60.0), "judgement"),
    Threshold(DoubtKind.UNIT_MIXUP, (*HEADINGS, Q.GROUND_COURSE_DEG, *WIND_ANGLES), "agrees with its like, or with heading or "
              "course, within [deg] only when read as radians; so many pairs", (15.0, 30.0, 60.0), "judgement"),
)
LIMITS: dict[tuple[DoubtKind, Quantity], tuple[float, ...]] = {
    (row.kind, quantity): row.limits for row in THRESHOLDS for quantity in row.quantities
}
DROPOUT_MS = 5.0  # a single zero between two readings above this is a gap, not a lull (judgement)
SPLIT_S = 600.0  # silence after which an unchanged value counts as new (judgement)
UNIT_RATIOS = {KN_PER_MS: "knots and m/s", 3.6: "km/h and m/s", 2.236936: "miles per hour and m/s", 1.852: "km/h and knots"}
PRESSURE_UNITS = {
    33.86389: "inches of mercury given as hPa", 1.333224: "millimetres of mercury given as hPa", 10.0: "kPa given as hPa",
    1e5: "bar given as Pa", 100.0: "hPa given as Pa", 1e-3: "hPa given as bar", 0.1: "hPa given as kPa",
}
