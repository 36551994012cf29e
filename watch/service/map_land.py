"""(I/O) The land round the map of some orders, from the packaged mask; read once for orders that follow each other."""

from functools import lru_cache
from math import ceil, floor

from watch.orders.document import Orders
from watch.passage.land import Land, load_land
from watch.render.map_frame import frame_of
from watch.render.page_parts import Place, places_of

WHOLE_DEG = 2  # the box is widened to these, so that orders of the next hours find the same land read already


def land_of_map(orders: Orders, places: tuple[Place, ...] = ()) -> Land | None:
    """The land for map_svg and picture: half a second or two the first time. None when the mask is not installed."""
    box = frame_of(orders, (*places_of(orders), *places)).box
    south, west = (floor(v / WHOLE_DEG) * WHOLE_DEG for v in (box.south, box.west))
    north, east = (ceil(v / WHOLE_DEG) * WHOLE_DEG for v in (box.north, box.east))
    return _read(max(south, -90), min(north, 90), west, min(east, west + 360))


@lru_cache(maxsize=2)
def _read(south: int, north: int, west: int, east: int) -> Land | None:
    return load_land(float(south), float(north), float(west), float(east))
