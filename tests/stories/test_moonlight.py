"""Which light is light enough for which job."""

import numpy as np
import pytest

from watch.passage.light import Light, Need, Sky

# sun, moon, lit -> day, moon, none
NIGHTS = [
    (20.0, -30.0, 0.5, True, True, True),  # daylight
    (-5.9, -30.0, 0.5, True, True, True),  # civil twilight is light to work in
    (-6.1, -30.0, 0.5, False, False, True),  # after it, without a moon
    (-20.0, 9.0, 1.0, False, False, True),  # a full moon just up
    (-20.0, 11.0, 1.0, False, True, True),
    (-20.0, 60.0, 0.39, False, False, True),  # a high crescent
    (-20.0, 60.0, 0.41, False, True, True),
    (np.nan, 60.0, 1.0, False, True, True),  # no telling the sun, but the moon is up
    (np.nan, np.nan, 1.0, False, False, True),
]


@pytest.mark.source("moonlit-1")
@pytest.mark.parametrize(("sun", "moon", "lit", "day", "by_moon", "any_light"), NIGHTS)
def test_light_enough(sun: float, moon: float, lit: float, day: bool, by_moon: bool, any_light: bool) -> None:
    light = Light(
        time=np.array(["2026-05-14T23:00"], dtype="datetime64[s]"), sun_deg=np.array([sun]), moon_deg=np.array([moon]),
        moon_lit=np.array([lit]), sky=np.array([Sky.NIGHT], dtype=np.int8), events=(),
    )  # fmt: skip
    assert [bool(light.enough(need)[0]) for need in Need] == [day, by_moon, any_light]
