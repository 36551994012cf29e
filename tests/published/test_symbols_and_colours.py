"""Symbols as the WMO draws them, colours as the standards and the eye want them."""

import math
import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from watch.render.margins import DAY, NIGHT, level
from watch.render.page import page_file
from watch.render.symbols import barb, barb_marks, front_line


def drawn(svg: str) -> list[ElementTree.Element]:
    return list(ElementTree.fromstring(f"<svg>{svg}</svg>"))


def numbers(d: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", d)]


@pytest.mark.source("wmo-barb-1")
@pytest.mark.parametrize(
    ("speed_kn", "marks"),
    [(2, (0, 0, 0)), (3, (0, 0, 1)), (5, (0, 0, 1)), (7.4, (0, 0, 1)), (7.5, (0, 1, 0)), (10, (0, 1, 0)), (25, (0, 2, 1)),
     (47.4, (0, 4, 1)), (47.5, (1, 0, 0)), (65, (1, 1, 1)), (100, (2, 0, 0))],
)  # fmt: skip
def test_a_half_barb_is_five_knots_a_barb_ten_a_pennant_fifty(speed_kn: float, marks: tuple[int, int, int]) -> None:
    assert barb_marks(speed_kn) == marks


@pytest.mark.source("wmo-barb-1")
@pytest.mark.parametrize(("from_deg", "staff"), [(0, (0, -1)), (90, (1, 0)), (180, (0, 1)), (270, (-1, 0))])
def test_the_staff_points_to_where_the_wind_comes_from_and_barbs_to_the_low(from_deg: float, staff: tuple[int, int]) -> None:
    """With the wind at one's back the low is on the left in the north, on the right in the south; the picture's y goes down."""
    for south in (False, True):
        path = next(e for e in drawn(barb(0.0, 0.0, from_deg, 10.0, south=south, length=20.0)) if e.get("class") == "barb")
        foot, top, _, tip = numbers(path.get("d", ""))
        assert foot == (0, 0)
        assert top == pytest.approx((20 * staff[0], 20 * staff[1]), abs=0.06)
        downwind = (-staff[0], -staff[1])
        left = (downwind[1], -downwind[0])
        toward_left = (tip[0] - top[0]) * left[0] + (tip[1] - top[1]) * left[1]
        assert toward_left == pytest.approx(-8 if south else 8, abs=0.1)


@pytest.mark.source("wmo-barb-1")
def test_calm_is_a_ring_and_not_a_wind() -> None:
    assert [e.tag for e in drawn(barb(0.0, 0.0, 90.0, 1.0, south=False))] == ["circle"]


@pytest.mark.source("wmo-front-1")
def test_cold_fronts_bear_triangles_warm_ones_half_rounds_a_trough_neither() -> None:
    cold, warm, trough = (drawn(front_line(k, 0.0, 100.0, 10.0)) for k in ("cold front", "warm front", "trough"))
    assert cold[1].get("d", "").count("z") == 4
    assert "a" not in cold[1].get("d", "")
    assert warm[1].get("d", "").count("a6,6") == 4
    assert len(trough) == 1


def lightness(colour: str) -> float:
    """CIE L* of a colour '#rrggbb' of sRGB."""
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > (6 / 29) ** 3 else y * (29 / 3) ** 3


def luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.source("cielab-1")
@pytest.mark.parametrize("colours", [DAY, NIGHT])
def test_margins_are_evenly_apart_in_lightness(colours: tuple[str, ...]) -> None:
    """So they are told apart in black and white and by every eye."""
    steps = [b - a for a, b in pairwise(lightness(c) for c in colours)]
    mean = sum(steps) / len(steps)
    assert abs(mean) > 10
    assert all(abs(s - mean) < 2.5 for s in steps)


@pytest.mark.source("cielab-1")
def test_the_style_has_these_very_colours() -> None:
    style = page_file("page.css")
    for k, (day, night) in enumerate(zip(DAY, NIGHT, strict=True)):
        assert re.findall(rf"--m{k}:(#\w+)", style) == [day, night]


@pytest.mark.source("night-vision-1")
def test_at_night_nothing_is_lit_blue_or_green_and_red_leads() -> None:
    night = re.search(r"\[data-colours=night\]\{(.*?)\}", page_file("page.css"), re.DOTALL)
    assert night is not None
    colours = re.findall(r"#(?:[0-9a-f]{6}|[0-9a-f]{3})\b", night[1])
    assert len(colours) > 20
    for colour in colours:
        full = colour if len(colour) == 7 else "#" + "".join(c * 2 for c in colour[1:])
        red, green, blue = (int(full[k : k + 2], 16) for k in (1, 3, 5))
        assert blue <= 64, colour
        assert red >= green >= blue, colour
        assert luminance(full) < 0.45, colour


@pytest.mark.source("alert-colours-1")
def test_alarm_is_red_warning_orange_caution_yellow() -> None:
    day = page_file("page.css").split("[data-colours=night]")[0]
    hue = {}
    for name in ("alarm", "warning", "caution"):
        found = re.search(rf"--{name}:(#\w{{6}})", day)
        assert found is not None
        red, green, blue = (int(found[1][k : k + 2], 16) for k in (1, 3, 5))
        assert blue == min(red, green, blue)
        hue[name] = math.degrees(math.atan2(math.sqrt(3) * (green - blue), 2 * red - green - blue))
    assert hue["alarm"] < 10 < 30 < hue["warning"] < 48 < 52 < hue["caution"] <= 62


@pytest.mark.source("margin-steps-1")
def test_a_margin_that_is_not_known_is_never_plenty() -> None:
    assert level(None) == level(float("nan")) == "unknown"
    assert level(-0.01) == "over"
    assert [level(k) for k in (0, 3.99, 4, 8, 12, 15.99, 16)] == ["m0", "m0", "m1", "m2", "m3", "m3", "m4"]
