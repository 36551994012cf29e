"""The sheet for the chart table: A4, the same bytes for the same orders, and nothing told by colour alone."""

import io
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from tests.page_demo import blind_for_hours, demo_orders, not_good_enough, nothing_due, with_shelter
from watch.render.page_parts import Place
from watch.render.picture import picture

SVG = "{http://www.w3.org/2000/svg}"
NIGHTS = [demo_orders, nothing_due, not_good_enough, blind_for_hours, with_shelter]


def words(svg: bytes) -> str:
    return " ".join("".join(e.itertext()).strip() for e in ElementTree.fromstring(svg).iter(f"{SVG}text"))


@pytest.mark.source("a4-1")
def test_it_is_an_a4_sheet_without_any_colour() -> None:
    image = Image.open(io.BytesIO(picture(demo_orders(), "png"))).convert("RGB")
    assert image.width / image.height == pytest.approx(210 / 297, abs=0.001)
    pixels = np.asarray(image).astype(int)
    assert np.abs(pixels - pixels[..., :1]).max() == 0, "grey only: it reads the same from a black and white printer"
    assert 0.02 < (pixels[..., 0] < 128).mean() < 0.3
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", picture(demo_orders(), "pdf"))
    assert box is not None
    assert [float(v) / 72 * 25.4 for v in box.groups()] == pytest.approx([210, 297], abs=0.3)


@pytest.mark.parametrize("orders", NIGHTS)
def test_every_night_can_be_drawn_and_says_its_verdict(orders: object) -> None:
    assert callable(orders)
    said = words(picture(orders(), "svg", places=(Place(name="Invented Bay", latitude_deg=37.5, longitude_deg=-51.0),)))
    assert orders().verdict[:40] in said
    assert "Invented Bay" in said
    assert "No warning service" in said


def test_what_is_not_known_is_written_across_the_wind_and_at_the_head() -> None:
    said = words(picture(blind_for_hours(), "svg"))
    assert said.count("NOT KNOWN") == 2
    assert "NOT KNOWN: No wind from 19:00 to midnight" in said


def test_closing_times_and_turn_by_are_in_words() -> None:
    said = words(picture(with_shelter(), "svg", invented=True))
    assert "CLOSES 11:00" in said
    assert "TURN BY 14:00 for Invented Bay" in said
    assert "INVENTED WEATHER" in said


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_the_same_orders_give_the_same_bytes(kind: str) -> None:
    assert picture(demo_orders(), kind) == picture(demo_orders(), kind)
