"""Which message is which field: by the name that ecCodes gives, else by the standard's own numbers, with level and statistic."""

from dataclasses import dataclass
from enum import StrEnum

from watch.forecast.contract import Name

# What a file can hold that becomes a field only together with another message.
SPEED = "wind speed"
FROM = "wind direction"


class Statistic(StrEnum):
    """What a value says about its stretch of time."""

    INSTANT = "instant"
    MAXIMUM = "maximum"
    MEAN = "mean"
    SUM = "sum"


@dataclass(frozen=True, kw_only=True)
class Header:
    """What ecCodes says of one message. wmo: (discipline, category, number) of a GRIB2 message in the standard's own tables."""

    short_name: str
    wmo: tuple[int, int, int] | None
    units: str
    type_of_level: str
    level: int
    step_type: str
    template: int  # GRIB2 product definition template; 0 in GRIB1
    data_type: str


@dataclass(frozen=True, kw_only=True)
class What:
    """A message that can be used: what it holds, how to turn it into the contract's unit, which guise is preferred (0 first)."""

    name: Name | str
    rank: int
    statistic: Statistic
    scale: float
    offset: float
    hours: int | None = None  # length of the interval where the name alone gives it
    guise: str  # its short name and level in the file, for people and to tell guises apart


@dataclass(frozen=True, kw_only=True)
class Refusal:
    """A message of a field that is needed, in a form not used. quiet: said only when the field comes from nowhere else."""

    name: Name | str
    why: str
    quiet: bool = False


LABELS: dict[str, str] = {
    Name.U10_MS: "eastward wind at 10 m", Name.V10_MS: "northward wind at 10 m", SPEED: "wind speed at 10 m",
    FROM: "wind direction at 10 m", Name.GUST_MS: "gust", Name.PRESSURE_PA: "pressure at mean sea level", Name.CAPE_JKG: "CAPE",
    Name.RAIN_KGM2S: "rain", Name.T2M_K: "temperature at 2 m", Name.D2M_K: "dew point at 2 m", Name.SEA_M: "wave height",
    Name.PERIOD_S: "wave period", Name.WAVE_FROM_DEG: "wave direction", Name.T850_K: "temperature at 850 hPa",
    Name.Q850_KGKG: "humidity at 850 hPa", Name.R850_PCT: "relative humidity at 850 hPa",
    Name.U925_MS: "eastward wind at 925 hPa", Name.V925_MS: "northward wind at 925 hPa",
    Name.U850_MS: "eastward wind at 850 hPa", Name.V850_MS: "northward wind at 850 hPa",
    Name.U500_MS: "eastward wind at 500 hPa", Name.V500_MS: "northward wind at 500 hPa",
}

# Parameter numbers of WMO-No. 306, Manual on Codes, volume I.2, FM 92 GRIB, code table 4.2 (source grib2-4-2).
WMO = {
    (0, 0, 0): "t", (0, 0, 6): "dpt", (0, 1, 0): "q", (0, 1, 1): "r", (0, 1, 7): "prate", (0, 1, 8): "tp", (0, 1, 49): "tp",
    (0, 1, 52): "prate", (0, 2, 0): "wdir", (0, 2, 1): "ws", (0, 2, 2): "u", (0, 2, 3): "v", (0, 2, 22): "gust",
    (0, 3, 1): "prmsl", (0, 7, 6): "cape",
    (10, 0, 3): "swh", (10, 0, 10): "dirpw", (10, 0, 11): "perpw", (10, 0, 14): "mwd", (10, 0, 15): "mwp",
    (10, 0, 34): "pp1d",
}
# Further numbers of the standard that ecCodes' names tell apart, or that are refused with a reason.
WMO_ALSO = {(0, 3, 0), (10, 0, 5), (10, 0, 7), (10, 0, 8)}
LOCAL = 192
WANTED_PA = {92_500, 85_000, 50_000}
SURFACES_OF_AIR = {1, 100, 101, 102, 103}  # ground or sea, isobaric, mean sea, above the sea, above the ground (code table 4.5)
# Units of those numbers in the same table, for messages whose name and unit ecCodes does not know.
WMO_UNITS = {
    "t": "K", "dpt": "K", "q": "kg kg-1", "r": "%", "prate": "kg m-2 s-1", "tp": "kg m-2", "wdir": "degree true", "ws": "m s-1",
    "u": "m s-1", "v": "m s-1", "gust": "m s-1", "prmsl": "Pa", "cape": "J kg-1", "swh": "m", "dirpw": "degree true",
    "perpw": "s", "mwd": "degree true", "mwp": "s", "pp1d": "s",
}

# Names that carry their level in them: (name without it, level class).
FIXED_LEVEL = {
    "10u": ("u", "10m"), "10v": ("v", "10m"), "10si": ("ws", "10m"), "10wdir": ("wdir", "10m"),
    "2t": ("t", "2m"), "2d": ("dpt", "2m"), "msl": ("prmsl", "sea"), "pmsl": ("prmsl", "sea"),
    "i10fg": ("gust", "10m"), "10fg": ("10fg", "10m"), "10fg3": ("10fg3", "10m"), "10fg6": ("10fg6", "10m"),
    "fg10": ("10fg", "10m"), "max_i10fg": ("10fg", "10m"), "max_10fg": ("10fg", "10m"),
    "mucape": ("mucape", "any"), "tprate": ("prate", "surface"),
    "avg_tprate": ("prate", "surface"), "mtpr": ("prate", "surface"), "mdps": ("dirpw", "surface"), "mpps": ("perpw", "surface"),
}

# Plain name and level class -> field, rank among its guises. Ten-metre wind is written as wind at the surface by wave models.
FIELDS: dict[tuple[str, str], tuple[Name | str, int]] = {
    ("u", "10m"): (Name.U10_MS, 0), ("v", "10m"): (Name.V10_MS, 0),
    ("u", "surface"): (Name.U10_MS, 1), ("v", "surface"): (Name.V10_MS, 1),
    ("ws", "10m"): (SPEED, 2), ("wdir", "10m"): (FROM, 2), ("ws", "surface"): (SPEED, 3), ("wdir", "surface"): (FROM, 3),
    ("gust", "10m"): (Name.GUST_MS, 0), ("gust", "surface"): (Name.GUST_MS, 0), ("10fg", "10m"): (Name.GUST_MS, 0),
    ("10fg3", "10m"): (Name.GUST_MS, 0), ("10fg6", "10m"): (Name.GUST_MS, 0),
    ("prmsl", "sea"): (Name.PRESSURE_PA, 0), ("prmsl", "surface"): (Name.PRESSURE_PA, 0), ("mslet", "sea"): (Name.PRESSURE_PA, 1),
    ("mslet", "surface"): (Name.PRESSURE_PA, 1),
    ("mucape", "any"): (Name.CAPE_JKG, 0), ("cape", "most unstable"): (Name.CAPE_JKG, 0), ("cape", "surface"): (Name.CAPE_JKG, 1),
    ("cape", "column"): (Name.CAPE_JKG, 1), ("cape", "layer"): (Name.CAPE_JKG, 2),
    ("tp", "surface"): (Name.RAIN_KGM2S, 0), ("prate", "surface"): (Name.RAIN_KGM2S, 1),
    ("t", "2m"): (Name.T2M_K, 0), ("dpt", "2m"): (Name.D2M_K, 0),
    ("swh", "surface"): (Name.SEA_M, 0), ("pp1d", "surface"): (Name.PERIOD_S, 0), ("perpw", "surface"): (Name.PERIOD_S, 1),
    ("mwp", "surface"): (Name.PERIOD_S, 2),
    ("dirpw", "surface"): (Name.WAVE_FROM_DEG, 0), ("mwd", "surface"): (Name.WAVE_FROM_DEG, 1),
    ("t", "850"): (Name.T850_K, 0), ("q", "850"): (Name.Q850_KGKG, 0), ("r", "850"): (Name.R850_PCT, 0),
    ("u", "925"): (Name.U925_MS, 0), ("v", "925"): (Name.V925_MS, 0),
    ("u", "850"): (Name.U850_MS, 0), ("v", "850"): (Name.V850_MS, 0),
    ("u", "500"): (Name.U500_MS, 0), ("v", "500"): (Name.V500_MS, 0),
}
PARTS_OF_THE_SEA = {"shts": "swell alone", "shww": "wind waves alone", "swell": "swell alone"}

SPEED_UNITS = {"ms-1": (1.0, 0.0), "m/s": (1.0, 0.0)}
KELVIN = {"k": (1.0, 0.0), "c": (1.0, 273.15), "degc": (1.0, 273.15)}
DEGREES = {"degreetrue": (1.0, 0.0), "degrees": (1.0, 0.0), "degree": (1.0, 0.0), "deg": (1.0, 0.0)}
UNITS: dict[str, dict[str, tuple[float, float]]] = {  # plain name -> unit in the file -> (scale, offset) to the contract's unit
    "u": SPEED_UNITS, "v": SPEED_UNITS, "ws": SPEED_UNITS, "gust": SPEED_UNITS, "10fg": SPEED_UNITS, "10fg3": SPEED_UNITS,
    "10fg6": SPEED_UNITS, "wdir": DEGREES, "dirpw": DEGREES, "mwd": DEGREES, "t": KELVIN, "dpt": KELVIN,
    "prmsl": {"pa": (1.0, 0.0), "hpa": (100.0, 0.0), "mb": (100.0, 0.0)}, "mslet": {"pa": (1.0, 0.0), "hpa": (100.0, 0.0)},
    "cape": {"jkg-1": (1.0, 0.0), "m2s-2": (1.0, 0.0)}, "mucape": {"jkg-1": (1.0, 0.0), "m2s-2": (1.0, 0.0)},
    "tp": {"m": (1000.0, 0.0), "kgm-2": (1.0, 0.0), "mm": (1.0, 0.0)},
    "prate": {"kgm-2s-1": (1.0, 0.0), "ms-1": (1000.0, 0.0), "mms-1": (1.0, 0.0)},
    "swh": {"m": (1.0, 0.0)}, "pp1d": {"s": (1.0, 0.0)}, "perpw": {"s": (1.0, 0.0)}, "mwp": {"s": (1.0, 0.0)},
    "q": {"kgkg-1": (1.0, 0.0), "gkg-1": (0.001, 0.0)}, "r": {"%": (1.0, 0.0), "(0-1)": (100.0, 0.0)},
}
DEEP_LAYER_PA = 30000
STATISTICS = {"instant": Statistic.INSTANT, "max": Statistic.MAXIMUM, "avg": Statistic.MEAN, "accum": Statistic.SUM}
GUSTS = (Statistic.INSTANT, Statistic.MAXIMUM)
USABLE = {"gust": GUSTS, "10fg": GUSTS, "10fg3": GUSTS, "10fg6": GUSTS, "tp": (Statistic.SUM,),
          "prate": (Statistic.INSTANT, Statistic.MEAN)}  # all others: of an instant
SINGLE_TEMPLATES = {0, 1, 8, 11, 60, 61}  # a run or one member, at an instant or over a stretch of time
MEAN_TEMPLATES = {2, 3, 4, 12, 13, 14}
MEAN_TYPES = {"em", "es", "taem", "taes", "fcmean", "fcstdev"}
MEAN = ("is the mean or spread of an ensemble, which evens out every front and squall, so it is not used: "
        "fetch the members or the control run")
CHANCE = "is a probability or another product of many runs, so it is not used: fetch the members or the control run"
CHANCE_TYPES = {"ep", "pb", "pd", "efi", "efic", "sot", "cd"}


def identify(header: Header) -> What | Refusal | None:
    """One message -> what it holds; a refusal with the reason; or None when the watch has no use for the field.

    >>> identify(Header(short_name="10fg6", wmo=None, units="m s**-1", type_of_level="surface", level=0, step_type="max",
    ...                 template=0, data_type="fc")).statistic
    <Statistic.MAXIMUM: 'maximum'>
    """
    if header.short_name in PARTS_OF_THE_SEA:
        return Refusal(name=Name.SEA_M, why=f"is {PARTS_OF_THE_SEA[header.short_name]}, not the whole sea: not used", quiet=True)
    plain, level = _plain(header)
    found = FIELDS.get((plain, level))
    if found is None:
        return None
    name, rank = found
    refused = _refused_kind(name, header)
    if refused:
        return refused
    statistic = STATISTICS.get(header.step_type)
    if plain == "tp" and (header.wmo is None or statistic is Statistic.INSTANT):
        statistic = Statistic.SUM  # rain is written as if of one instant, and in GRIB1 also as if a maximum
    if statistic is None or statistic not in USABLE.get(plain, (Statistic.INSTANT,)):
        return Refusal(name=name, why=f'is given as "{header.step_type}" over a stretch of time: not used', quiet=True)
    unit = WMO_UNITS[plain] if header.units == "unknown" and plain in WMO_UNITS else header.units
    factors = UNITS[plain].get(unit.replace("**", "").replace(" ", "").lower())
    if factors is None:
        return Refusal(name=name, why=f'is in "{header.units}", a unit not known here: not used')
    if plain in ("10fg", "10fg3", "10fg6"):
        statistic = Statistic.MAXIMUM
    if level == "layer":
        rank += max(0, DEEP_LAYER_PA - header.level) // 100  # the deeper the layer, the nearer to the most unstable air
    return What(name=name, rank=rank, statistic=statistic, scale=factors[0], offset=factors[1],
                hours={"10fg3": 3, "10fg6": 6}.get(plain), guise=f"{header.short_name} at {header.type_of_level} {header.level}")


def of_no_use(wmo: tuple[int, int, int], surface: int, pressure_pa: float) -> bool:
    """True when the standard's numbers alone show that a GRIB2 message is no field of ours: then ecCodes need not be asked.

    >>> of_no_use((0, 0, 0), 100, 20_000.0), of_no_use((0, 0, 0), 100, 85_000.0)
    (True, False)
    """
    if max(wmo) >= LOCAL:
        return False  # a centre's own number: only its name tells
    if wmo not in WMO and wmo not in WMO_ALSO:
        return True
    if wmo[0] == 0 and wmo[1] in (0, 1, 2) and surface not in SURFACES_OF_AIR:
        return True
    return surface == 100 and pressure_pa not in WANTED_PA


def _refused_kind(name: Name | str, header: Header) -> Refusal | None:
    if header.template in MEAN_TEMPLATES or header.data_type in MEAN_TYPES:
        return Refusal(name=name, why=MEAN)
    if header.template not in SINGLE_TEMPLATES or header.data_type in CHANCE_TYPES:
        return Refusal(name=name, why=CHANCE)
    return None


def _plain(header: Header) -> tuple[str, str]:
    """Name without its level, and the class of level: by name where the name is known here, else by the standard's number."""
    level = _level(header)
    named = FIXED_LEVEL.get(header.short_name, (header.short_name, level))
    if named not in FIELDS and header.wmo in WMO:
        return WMO[header.wmo], level
    return named


def _level(header: Header) -> str:
    kind, level = header.type_of_level, header.level
    if kind in ("heightAboveGround", "heightAboveSea"):
        return f"{level}m"
    if kind in ("isobaricInhPa", "isobaricInPa"):
        return str(level if kind == "isobaricInhPa" else level // 100)
    if kind == "meanSea":
        return "surface" if header.wmo is None or header.wmo[0] == 10 else "sea"
    if kind == "mostUnstableParcel":
        return "most unstable"
    if kind in ("atmosphere", "entireAtmosphere", "atmosphereSingleLayer", "nominalTop"):
        return "column"
    if kind in ("pressureFromGroundLayer", "mixedLayerParcel"):
        return "layer"
    return kind
