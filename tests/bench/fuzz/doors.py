"""All doors, by the way in."""

from tests.bench.fuzz import doors_files, doors_grib, doors_shell, doors_wire
from tests.bench.fuzz.door import Door

DOORS: tuple[Door, ...] = (*doors_grib.DOORS, *doors_files.DOORS, *doors_wire.DOORS, *doors_shell.DOORS)


def named(name: str) -> Door:
    """The door with this name."""
    return next(door for door in DOORS if door.name == name)
