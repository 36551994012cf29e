"""(I/O) The land round the map of some orders, from the packaged mask: at once for a file, in the background for a page that is served."""

import threading
from dataclasses import dataclass, field
from functools import lru_cache
from math import ceil, floor

from watch.faults import BadInputError
from watch.orders.document import Orders
from watch.passage.land import Land, load_land
from watch.render.coast import Box
from watch.render.map_frame import frame_of
from watch.render.page_parts import Place, places_of

WHOLE_DEG = 2  # the box is widened to these, so that orders of the next hours find their land read already
Whole = tuple[int, int, int, int]


def land_of_map(orders: Orders, places: tuple[Place, ...] = ()) -> Land | None:
    """The land for map_svg and picture: half a second or two the first time. None when the mask is not installed."""
    return _read(_widened(_box(orders, places)))


def _box(orders: Orders, places: tuple[Place, ...]) -> Box:
    return frame_of(orders, (*places_of(orders), *places)).box


def _widened(box: Box) -> Whole:
    """South, north, west, east in whole degrees, with at least that much to spare on every side but the poles'."""
    south, west = (floor(v / WHOLE_DEG - 0.5) * WHOLE_DEG for v in (box.south, box.west))
    north, east = (ceil(v / WHOLE_DEG + 0.5) * WHOLE_DEG for v in (box.north, box.east))
    return max(south, -90), min(north, 90), west, min(east, west + 360)


@lru_cache(maxsize=2)
def _read(whole: Whole) -> Land | None:
    south, north, west, east = whole
    return load_land(float(south), float(north), float(west), float(east))


@dataclass
class LandAtHand:
    """The land for a page that is served: what has been read already, never waited for. Called from several threads."""

    _lock: threading.Lock = field(default_factory=threading.Lock)
    _kept: Land | None = None
    _whole: Whole | None = None
    _reader: threading.Thread | None = None

    def of(self, orders: Orders, places: tuple[Place, ...] = ()) -> Land | None:
        """What is known by now of the land round a map; what is missing of it is read meanwhile, and is there at a later asking."""
        box = _box(orders, places)
        with self._lock:
            if not _holds(self._whole, box) and (self._reader is None or not self._reader.is_alive()):
                self._reader = threading.Thread(target=self._fill, args=(_widened(box),), name="land", daemon=True)
                self._reader.start()
            return self._kept

    def _fill(self, whole: Whole) -> None:
        try:
            found = _read(whole)
        except BadInputError:  # a mask that is broken is no reason for no page: the map says that it has no land
            found = None
        with self._lock:
            self._kept, self._whole = found, whole


def _holds(whole: Whole | None, box: Box) -> bool:
    if whole is None:
        return False
    south, north, west, east = whole
    return south <= box.south and box.north <= north and west <= box.west and box.east <= east
