"""The sentences of NMEA 0183 that matter here, each turned into readings. Layouts by name from pynmea2; values checked here."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache

from watch.faults import BadInputError
from watch.instruments.readings import (
    FASTEST_MS,
    HIGHEST_PA,
    Doubt,
    DoubtKind,
    Quantity,
    Reading,
    Refusal,
    Refused,
    bow_deg,
    compass_deg,
    shown,
    worse,
)
from watch.units import M_PER_NM

# Metres per second in one unit of speed, by the unit's letter. S is statute miles an hour (source nmea-mwv-1).
MS_PER_UNIT = {"K": 1000.0 / 3600.0, "M": 1.0, "N": M_PER_NM / 3600.0, "S": 1609.344 / 3600.0}
PA_PER_BAR = 1e5
PA_PER_INHG = 3386.389  # source nmea-inhg-1
UNITS_APART_MS = 0.15  # two roundings to 0.1 unit
UNITS_APART = 0.03
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)")
LATITUDE = re.compile(r"(\d{1,2})(\d\d(?:\.\d*)?)")
LONGITUDE = re.compile(r"(\d{1,3})(\d\d(?:\.\d*)?)")
BAROMETER = re.compile(r"baro|atm|^p$|^press|^air|outside", re.IGNORECASE)
FIX_WORDS = {"E": "estimated", "M": "put in by hand", "S": "made by a simulator", "6": "estimated", "7": "put in by hand",
             "8": "made by a simulator"}


@lru_cache(maxsize=64)
def layout(kind: str) -> dict[str, int] | None:
    """Field names of a sentence -> their places; None for a sentence not known. Needs pynmea2."""
    try:
        import pynmea2
    except ImportError:
        says = 'reading NMEA 0183 needs pynmea2: install it with pip install "nightorders[instruments]"'
        raise BadInputError("instruments", [says]) from None
    known = pynmea2.TalkerSentence.sentence_types.get(kind)
    return None if known is None else dict(known.name_to_idx)


@dataclass
class Sentence:
    """One sentence in hand: its fields, and the readings and refusals made of it so far."""

    talker: str
    kind: str
    data: list[str]
    when: datetime
    received: datetime
    doubt: Doubt | None
    readings: list[Reading] = field(default_factory=list)
    refused: list[Refusal] = field(default_factory=list)

    def text(self, name: str) -> str:
        """The field of this name as it stands; empty when it is empty, absent or past the end."""
        place = (layout(self.kind) or {}).get(name)
        return self.data[place].strip() if place is not None and place < len(self.data) else ""

    def refuse(self, reason: Refused, says: str) -> None:
        self.refused.append(Refusal(reason, f"{self.talker}{self.kind}: {says}"))

    def refuse_unit(self, name: str, wanted: str, found: str) -> None:
        self.refuse(Refused.UNIT, f"{name.replace('_', ' ')} should be followed by {wanted}, not {shown(found)}")

    def doubted(self, kind: DoubtKind, says: str) -> None:
        self.doubt = worse(self.doubt, Doubt(kind, f"{self.talker}{self.kind} {says}"))

    def add(self, quantity: Quantity, value: float | None, doubt: Doubt | None = None, part: str = "") -> None:
        """A reading, unless the value is missing."""
        if value is not None:
            source = f"{self.talker}/{self.kind}" + (f":{part}" if part else "")
            self.readings.append(Reading(when=self.when, received=self.received, quantity=quantity, value=value, source=source,
                                         doubtful=worse(self.doubt, doubt)))

    def value_of(self, raw: str, what: str, low: float, high: float) -> float | None:
        """Plain decimal text -> number in [low, high]; None when empty; refused when it is no such number."""
        if not raw:
            return None
        if len(raw) > 20 or not NUMBER.fullmatch(raw):
            self.refuse(Refused.NOT_A_NUMBER, f"{what} is {shown(raw)}, not a number")
            return None
        value = float(raw)
        if not low <= value <= high:
            self.refuse(Refused.OUT_OF_RANGE, f"{what} is {shown(raw)}, outside {low:g} to {high:g}")
            return None
        return value

    def number(self, name: str, low: float, high: float) -> float | None:
        return self.value_of(self.text(name), name.replace("_", " "), low, high)

    def angle(self, name: str, letter_name: str = "", letter: str = "") -> float | None:
        """A direction [deg], its letter (T or M) checked when the sentence has one."""
        if self.text(name) and letter_name and self.text(letter_name).upper() != letter:
            self.refuse_unit(name, letter, self.text(letter_name))
            return None
        return self.number(name, -180.0, 360.0)

    def speed(self, *fields: tuple[str, str, str]) -> tuple[float | None, Doubt | None]:
        """(field, field of its unit, unit letter), best first -> speed [m/s]. Two that do not agree: the larger, doubtful."""
        found = []
        for name, unit_name, letter in fields:
            if not self.text(name):
                continue
            if self.text(unit_name).upper() != letter:
                self.refuse_unit(name, letter, self.text(unit_name))
                continue
            value = self.number(name, 0.0, FASTEST_MS / MS_PER_UNIT[letter])
            if value is not None:
                found.append((value * MS_PER_UNIT[letter], f"{value:g} {letter}"))
        if not found:
            return None, None
        largest = max(found)
        for speed_ms, said in found[1:]:
            if abs(speed_ms - found[0][0]) > UNITS_APART_MS + UNITS_APART * largest[0]:
                says = f"{found[0][1]} and {said} in one {self.kind} sentence are not the same speed: the larger is used"
                return largest[0], Doubt(DoubtKind.UNITS_DISAGREE, says)
        return found[0][0], None

    def valid(self, name: str = "status") -> bool:
        """False when the instrument itself says that its data are not valid; doubtful when it does not say."""
        status = self.text(name).upper()
        if status == "V":
            self.refuse(Refused.NOT_VALID, "the instrument says that its data are not valid")
        elif status != "A":
            self.doubted(DoubtKind.NO_STATUS, "does not say that its data are valid")
        return status != "V"

    def fixed(self, mode: str, none: str) -> bool:
        """False when the mode or quality letter says that there is no fix; doubtful when the fix is none of a satellite's."""
        if mode and mode == none:
            self.refuse(Refused.NOT_VALID, "the receiver says that it has no fix")
            return False
        if mode in FIX_WORDS:
            self.doubted(DoubtKind.NOT_A_FIX, f"says it is {FIX_WORDS[mode]}, not measured")
        return True

    def signed(self, name: str, side_name: str, sides: str) -> float | None:
        """A size with a letter for its sign, the first of the two letters positive -> [deg] in [-180, 180)."""
        size, side = self.number(name, 0.0, 180.0), self.text(side_name).upper()
        if size is None:
            return None
        if not side or side not in sides:
            self.refuse_unit(name, f"{sides[0]} or {sides[1]}", side)
            return None
        return bow_deg(size if side == sides[0] else -size)

    def add_position(self) -> None:
        """Latitude and longitude, both or neither."""
        raw = (self.text("lat"), self.text("lat_dir").upper(), self.text("lon"), self.text("lon_dir").upper())
        if not any(raw[::2]):
            return
        latitude, longitude = LATITUDE.fullmatch(raw[0]), LONGITUDE.fullmatch(raw[2])
        if not latitude or not longitude or raw[1] not in ("N", "S") or raw[3] not in ("E", "W"):
            self.refuse(Refused.MALFORMED, f"{shown(','.join(raw))} is no position")
            return
        degrees = [int(m[1]) + float(m[2]) / 60.0 for m in (latitude, longitude)]
        if degrees[0] > 90.0 or degrees[1] > 180.0 or float(latitude[2]) >= 60.0 or float(longitude[2]) >= 60.0:
            self.refuse(Refused.OUT_OF_RANGE, f"{shown(','.join(raw))} is not on the earth")
            return
        self.add(Quantity.LATITUDE_DEG, degrees[0] if raw[1] == "N" else -degrees[0])
        self.add(Quantity.LONGITUDE_DEG, bow_deg(degrees[1] if raw[3] == "E" else -degrees[1]))


def _compass(value: float | None) -> float | None:
    return None if value is None else compass_deg(value)


def _mwv(s: Sentence) -> None:
    """Wind from the bow: R apparent, T as if the boat lay still. T is from the bow too, never from north (source nmea-mwv-1)."""
    reference, unit = s.text("reference").upper(), s.text("wind_speed_units").upper()
    if not s.valid():
        return
    if reference not in ("R", "T"):
        s.refuse(Refused.MALFORMED, f"the reference should be R or T, not {shown(reference)}")
        return
    angle = s.number("wind_angle", -180.0, 360.0)
    speed = None
    if unit in MS_PER_UNIT:
        speed, _ = s.speed(("wind_speed", "wind_speed_units", unit))
    elif s.text("wind_speed"):
        s.refuse_unit("wind_speed", "K, M, N or S", unit)
    apparent = reference == "R"
    s.add(Quantity.APPARENT_WIND_MS if apparent else Quantity.TRUE_WIND_MS, speed)
    if angle is not None:
        s.add(Quantity.APPARENT_ANGLE_DEG if apparent else Quantity.TRUE_ANGLE_DEG, bow_deg(angle))


def _wind_from_north(s: Sentence) -> None:
    s.add(Quantity.TRUE_FROM_DEG, _compass(s.angle("direction_true", "true", "T")))
    s.add(Quantity.TRUE_FROM_MAGNETIC_DEG, _compass(s.angle("direction_magnetic", "magnetic", "M")))
    s.add(Quantity.TRUE_WIND_MS, *s.speed(("wind_speed_knots", "knots", "N"), ("wind_speed_meters", "meters", "M")))


def _mda(s: Sentence) -> None:
    bars = s.number("b_pressure_bar", 0.0, HIGHEST_PA / PA_PER_BAR)
    inches = s.number("b_pressure_inch", 0.0, HIGHEST_PA / PA_PER_INHG)
    if bars is not None and s.text("bars").upper() == "B":
        s.add(Quantity.PRESSURE_PA, bars * PA_PER_BAR)
    elif inches is not None and s.text("inches").upper() == "I":
        s.add(Quantity.PRESSURE_PA, inches * PA_PER_INHG)
    elif bars is not None or inches is not None:
        s.refuse(Refused.UNIT, "the pressure should be followed by B or I")
    _wind_from_north(s)


def _vhw(s: Sentence) -> None:
    s.add(Quantity.HEADING_DEG, _compass(s.angle("heading_true", "true", "T")))
    s.add(Quantity.HEADING_MAGNETIC_DEG, _compass(s.angle("heading_magnetic", "magnetic", "M")))
    s.add(Quantity.WATER_SPEED_MS, *s.speed(("water_speed_knots", "knots", "N"), ("water_speed_km", "kilometers", "K")))


def _vtg(s: Sentence) -> None:
    if s.fixed(s.text("faa_mode").upper(), "N"):
        s.add(Quantity.GROUND_COURSE_DEG, _compass(s.angle("true_track", "true_track_sym", "T")))
        s.add(Quantity.GROUND_SPEED_MS, *s.speed(("spd_over_grnd_kts", "spd_over_grnd_kts_sym", "N"),
                                                 ("spd_over_grnd_kmph", "spd_over_grnd_kmph_sym", "K")))


def _rmc(s: Sentence) -> None:
    if not s.valid() or not s.fixed(s.text("mode_indicator").upper(), "N"):
        return
    s.add_position()
    knots = s.number("spd_over_grnd", 0.0, FASTEST_MS / MS_PER_UNIT["N"])
    s.add(Quantity.GROUND_SPEED_MS, None if knots is None else knots * MS_PER_UNIT["N"])
    s.add(Quantity.GROUND_COURSE_DEG, _compass(s.angle("true_course")))
    s.add(Quantity.VARIATION_DEG, s.signed("mag_variation", "mag_var_dir", "EW"))


def _gga(s: Sentence) -> None:
    if s.text("gps_qual") == "":
        s.doubted(DoubtKind.NO_STATUS, "does not say how good its fix is")
    if s.fixed(s.text("gps_qual"), "0"):
        s.add_position()


def _gll(s: Sentence) -> None:
    if s.valid() and s.fixed(s.text("faa_mode").upper(), "N"):
        s.add_position()


def _hdt(s: Sentence) -> None:
    s.add(Quantity.HEADING_DEG, _compass(s.angle("heading", "hdg_true", "T")))


def _hdm(s: Sentence) -> None:
    s.add(Quantity.HEADING_MAGNETIC_DEG, _compass(s.angle("heading", "magnetic", "M")))


def _hdg(s: Sentence) -> None:
    """Magnetic heading = sensor + deviation; true = magnetic + variation; east positive in both."""
    sensor = s.angle("heading")
    variation = s.signed("variation", "var_dir", "EW")
    s.add(Quantity.VARIATION_DEG, variation)
    deviation = s.signed("deviation", "dev_dir", "EW") if s.text("deviation") else 0.0
    if sensor is None or deviation is None:
        return
    s.add(Quantity.HEADING_MAGNETIC_DEG, compass_deg(sensor + deviation))
    if variation is not None:
        s.add(Quantity.HEADING_DEG, compass_deg(sensor + deviation + variation))


def _vwr(s: Sentence) -> None:
    s.add(Quantity.APPARENT_ANGLE_DEG, s.signed("deg_r", "l_r", "RL"))
    s.add(Quantity.APPARENT_WIND_MS, *s.speed(("wind_speed_kn", "unit_knots", "N"), ("wind_speed_ms", "unit_ms", "M"),
                                              ("wind_speed_km", "unit_km", "K")))


def _vwt(s: Sentence) -> None:
    s.add(Quantity.TRUE_ANGLE_DEG, s.signed("wind_angle_vessel", "direction", "RL"))
    s.add(Quantity.TRUE_WIND_MS, *s.speed(("wind_speed_knots", "knots", "N"), ("wind_speed_meters", "meters", "M"),
                                          ("wind_speed_km", "km", "K")))


def _xdr(s: Sentence) -> None:
    """Transducers in fours: type, value, unit, name. Type P is a pressure, in bar (B) or pascal (P)."""
    for at in range(0, len(s.data), 4):
        kind, raw, unit, name = ([*(part.strip() for part in s.data[at : at + 4]), "", "", ""])[:4]
        if kind.upper() != "P":
            continue
        per_unit = {"B": PA_PER_BAR, "P": 1.0}.get(unit.upper())
        if per_unit is None:
            s.refuse(Refused.UNIT, f"the pressure {shown(raw)} of {shown(name)} should be in B or P, not {shown(unit)}")
            continue
        value = s.value_of(raw, "pressure", 0.0, HIGHEST_PA / per_unit)
        doubt = None
        if not BAROMETER.search(name):
            doubt = Doubt(DoubtKind.OTHER_TRANSDUCER, f"a pressure named {shown(name)}: perhaps not the barometer")
        plain = re.sub(r"[^A-Za-z0-9_ -]", "", name)[:20]
        s.add(Quantity.PRESSURE_PA, None if value is None else value * per_unit, doubt, plain)


READERS: dict[str, Callable[[Sentence], None]] = {
    "MWV": _mwv, "MWD": _wind_from_north, "MDA": _mda, "VHW": _vhw, "VTG": _vtg, "RMC": _rmc, "GGA": _gga, "GLL": _gll,
    "HDT": _hdt, "HDM": _hdm, "HDG": _hdg, "VWR": _vwr, "VWT": _vwt, "XDR": _xdr,
}
