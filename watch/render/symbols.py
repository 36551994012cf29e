"""Symbols of the weather as the WMO draws them, as SVG: wind barbs, fronts, squalls. Also the few helpers that write SVG."""

import math
from html import escape

BARB_STEP_KN = 5


def tag(name: str, text: str | None = None, **attributes: object) -> str:
    """One SVG element; `klass` is written class, `_` in a name is written `-`, numbers with at most one decimal.

    >>> tag("text", "6 < 7", x=1.25, klass="a")
    '<text x="1.2" class="a">6 &lt; 7</text>'
    """
    said = "".join(f' {k.replace("klass", "class").replace("_", "-")}="{_value(v)}"' for k, v in attributes.items() if v is not None)
    return f"<{name}{said}/>" if text is None else f"<{name}{said}>{escape(text)}</{name}>"


def _value(value: object) -> str:
    return number(value) if isinstance(value, float) else escape(str(value), quote=True)


def number(value: float) -> str:
    """A coordinate, short: 12.0 -> '12'."""
    return f"{value:.1f}".removesuffix(".0")


def path(points: list[tuple[float, float]], *, close: bool = False) -> str:
    """Points -> the d of a path; empty for fewer than two."""
    if len(points) < 2:
        return ""
    return "M" + " ".join(f"{number(x)},{number(y)}" for x, y in points) + ("z" if close else "")


def barb_marks(speed_kn: float) -> tuple[int, int, int]:
    """Knots -> (pennants of 50, barbs of 10, half barbs of 5), the speed taken to the nearest five. Source: wmo-barb-1.

    >>> barb_marks(65), barb_marks(12), barb_marks(2)
    ((1, 1, 1), (0, 1, 0), (0, 0, 0))
    """
    fives = int((speed_kn + BARB_STEP_KN / 2) // BARB_STEP_KN)
    return fives // 10, fives % 10 // 2, fives % 2


def barb(x: float, y: float, from_deg: float, speed_kn: float, *, south: bool, length: float = 19.0) -> str:
    """A wind barb whose staff points to where the wind comes from; its barbs stand to the low's side, left of the wind in the north.

    x, y: where the wind is [px]; from_deg: from true north; south: true in the southern hemisphere.
    """
    pennants, full, half = barb_marks(speed_kn)
    if pennants + full + half == 0:
        return tag("circle", cx=x, cy=y, r=3.5, klass="barb")
    angle = math.radians(from_deg)
    along = (math.sin(angle), -math.cos(angle))
    side = (-along[1], along[0]) if not south else (along[1], -along[0])

    def at(far: float, out: float) -> tuple[float, float]:
        lean = 0.35 * out
        return x + along[0] * (far + lean) + side[0] * out, y + along[1] * (far + lean) + side[1] * out

    lines, flags, far = [path([at(0, 0), at(length, 0)])], [], length
    for _ in range(pennants):
        flags.append(path([at(far, 0), at(far - 2.4, 7.5), at(far - 4.8, 0)], close=True))
        far -= 5.6
    if half and not full and not pennants:
        far -= 3.4
    for out in (8.0,) * full + (4.2,) * half:
        lines.append(path([at(far, 0), at(far, out)]))
        far -= 3.4
    drawn = tag("path", d="".join(lines), klass="barb") + tag("circle", cx=x, cy=y, r=1.4, klass="barb-foot")
    return drawn + (tag("path", d="".join(flags), klass="barb-flag") if flags else "")


def front_line(kind: str, x0: float, x1: float, y: float) -> str:
    """A front along a level line, its marks pointing down: triangles for cold, half rounds for warm; others a plain broken line.

    A trough and a wind shift have no marks of a front. Source: wmo-front-1.
    """
    line = tag("path", d=path([(x0, y), (x1, y)]), klass="front" if kind in ("cold front", "warm front") else "front broken")
    marks = []
    for k in range(1, 5):
        middle = x0 + (x1 - x0) * k / 5
        if kind == "cold front":
            marks.append(path([(middle - 6, y), (middle + 6, y), (middle, y + 9)], close=True))
        elif kind == "warm front":
            marks.append(f"M{number(middle - 6)},{number(y)}a6,6 0 0 0 12,0z")
    return line + (tag("path", d="".join(marks), klass="front-mark") if marks else "")


def squall_mark(x: float, y: float, size: float = 10.0) -> str:
    """The mark of squalls within sight (present weather 18): a wedge point down with a bar across. Source: wmo-squall-mark-1."""
    half = size / 2
    wedge = path([(x - half, y - half), (x, y + half), (x + half, y - half)])
    bar = path([(x - half / 2 - 0.6, y), (x + half / 2 + 0.6, y)])
    return tag("path", d=wedge + bar, klass="squall-mark")
