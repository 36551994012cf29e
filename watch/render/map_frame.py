"""The frame of a small map: what it shows of the sea, where a place lies on it, and labels that do not lie on each other."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from watch.orders.document import Orders
from watch.render.coast import Box
from watch.render.page_parts import Place
from watch.render.symbols import tag

WIDTH, LEAST_HEIGHT, MOST_HEIGHT, EDGE = 360, 190, 420, 30
FAR_NM = 600.0  # judgement: a place beyond this is pointed to, not drawn: the track would shrink to a dot
LETTER, LINE = 6.3, 13.0  # a letter's width and a line's height on the map, a little more than they are

Spot = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A plate in true proportion at its middle latitude. Longitudes are counted on from the track's first, so 180 is no seam."""

    west: float
    south: float
    px_per_deg: float
    squeeze: float
    height: float

    def at(self, latitude: float, longitude: float) -> Spot:
        x = EDGE + (longitude - self.west) * self.squeeze * self.px_per_deg
        return x, self.height - EDGE - (latitude - self.south) * self.px_per_deg

    @property
    def px_per_nm(self) -> float:
        return self.px_per_deg / 60.0

    @property
    def step_deg(self) -> Spot:
        """What one dot spans in latitude and in longitude [deg]."""
        return 1.0 / self.px_per_deg, 1.0 / self.px_per_deg / self.squeeze

    @property
    def box(self) -> Box:
        """All that is drawn, its edge included."""
        up, across = self.step_deg
        south, west = self.south - EDGE * up, self.west - EDGE * across
        return Box(south=max(south, -90.0), north=min(south + self.height * up, 90.0), west=west, east=west + WIDTH * across)

    def holds(self, spot: Spot, edge: float = 0.0) -> bool:
        return edge <= spot[0] <= WIDTH - edge and edge <= spot[1] <= self.height - edge


def unrolled(longitude: float, near: float) -> float:
    """A longitude -> the same meridian within half a turn of `near`.

    >>> unrolled(-179.0, 179.0)
    181.0
    """
    return near + (longitude - near + 180.0) % 360.0 - 180.0


def frame_of(orders: Orders, places: Iterable[Place]) -> Frame:
    """The frame that holds the track and every place that is near enough."""
    near = orders.longitude_deg
    spots = [(row.latitude_deg, unrolled(row.longitude_deg, near)) for row in orders.steps]
    spots += [(p.latitude_deg, unrolled(p.longitude_deg, near)) for p in places if is_near(orders, p)]
    south, north = min(s[0] for s in spots), max(s[0] for s in spots)
    west, east = min(s[1] for s in spots), max(s[1] for s in spots)
    squeeze = max(0.05, math.cos(math.radians((south + north) / 2)))
    wide, high = max((east - west) * squeeze, 0.1), max(north - south, 0.1)
    per_deg = min((WIDTH - 2 * EDGE) / wide, (MOST_HEIGHT - 2 * EDGE) / high)
    height = max(LEAST_HEIGHT, high * per_deg + 2 * EDGE)
    spare_lon = ((WIDTH - 2 * EDGE) / per_deg / squeeze - (east - west)) / 2
    spare_lat = ((height - 2 * EDGE) / per_deg - (north - south)) / 2
    return Frame(west=west - spare_lon, south=south - spare_lat, px_per_deg=per_deg, squeeze=squeeze, height=height)


def is_near(orders: Orders, place: Place) -> bool:
    """Whether a place is drawn; else it is pointed to from the edge."""
    return distance_nm(orders, place) <= FAR_NM


def distance_nm(orders: Orders, place: Place) -> float:
    """Miles from her present place, on the flat: good enough for a map's edge."""
    north, east = _off_nm(orders, place)
    return math.hypot(north, east)


def bearing_deg(orders: Orders, place: Place) -> float:
    """Which way a place lies from her present place on this map."""
    north, east = _off_nm(orders, place)
    return math.degrees(math.atan2(east, north)) % 360.0


def _off_nm(orders: Orders, place: Place) -> Spot:
    north = (place.latitude_deg - orders.latitude_deg) * 60.0
    east = (unrolled(place.longitude_deg, orders.longitude_deg) - orders.longitude_deg) * 60.0
    return north, east * math.cos(math.radians((place.latitude_deg + orders.latitude_deg) / 2))


@dataclass
class Labels:
    """Texts put one after the other, the weightiest first: each where it lies on no other and on nothing marked, else left out."""

    height: float
    width: float = WIDTH
    letter: float = LETTER
    line: float = LINE
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)

    def mark(self, spot: Spot, half: float) -> None:
        """Keeps texts off a square round a spot."""
        self.taken.append((spot[0] - half, spot[1] - half, spot[0] + half, spot[1] + half))

    def put(self, text: str, spot: Spot, klass: str = "", *, off: float = 9.0, must: bool = False, below: str = "") -> str:
        """A text beside a spot, and a second line below it -> its <text>; nothing when there is no room, unless it must be there."""
        found = self.find((text, below) if below else (text,), spot, off=off, must=must)
        if found is None:
            return ""
        lines = [(text, found[1] + self.line - 3.0)] + ([(below, found[1] + 2 * self.line - 3.0)] if below else [])
        return "".join(tag("text", line, x=found[0], y=at, klass=f"halo {klass}".strip()) for line, at in lines)

    def find(self, lines: Sequence[str], spot: Spot, *, off: float, must: bool = False) -> Spot | None:
        """The upper left corner of a text beside a spot, which is then taken; None when there is no room and it need not be there."""
        wide, high = max(map(len, lines)) * self.letter, self.line * len(lines)
        places = self._beside(spot, off, wide, high)
        free = next((p for p in places if self._free(p, wide, high)), places[0] if must else None)
        if free is None:
            return None
        x, y = min(max(free[0], 3.0), self.width - 3.0 - wide), min(max(free[1], 1.0), self.height - 1.0 - high)
        self.taken.append((x, y, x + wide, y + high))
        return x, y

    def _free(self, at: Spot, wide: float, high: float) -> bool:
        left, top, right, bottom = at[0], at[1], at[0] + wide, at[1] + high
        if left < 3 or right > self.width - 3 or top < 1 or bottom > self.height - 1:
            return False
        return not any(left < r and west < right and top < b and north < bottom for west, north, r, b in self.taken)

    def _beside(self, spot: Spot, off: float, wide: float, high: float) -> Sequence[Spot]:
        """Right, left, under, over, and the four corners: where the upper left corner of a text may be."""
        x, y = spot
        inside = min(max(x - wide / 2, 3.0), self.width - 3.0 - wide)
        right, left, middle, level = x + off, x - off - wide, inside, y - high / 2
        under, over = y + off - 1, y - off - high + 2
        return (right, level), (left, level), (middle, under), (middle, over), (right, under), (right, over), (left, under), (left, over)
