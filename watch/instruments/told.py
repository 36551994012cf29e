"""The comparison in words: early or late, stronger or weaker, sharper, each with how sure it is."""

import math
from collections.abc import Sequence
from datetime import timedelta

from watch.orders.differences import span

EARLY_H = 1.0 / 3.0  # less than this is "on time" (judgement)
STRONG_SHARE = 0.05  # less than this is "as strong as forecast" (judgement)


def told(early_h: float, early_sd_h: float, strength: float, strength_sd: float, sharper: float, timing: bool, wind: bool,
         caveats: Sequence[str]) -> str:
    """Hours early, strength, sharpness and their standard deviations -> sentences. timing, wind: whether they are known at all.

    >>> told(2.1, 0.4, 1.15, 0.05, math.nan, True, True, [])
    'The weather is about 2 h 10 min early (give or take 20 min) and 15 % stronger than forecast (give or take 5 %).'
    >>> told(0.8, 0.9, 1.0, 0.05, math.nan, False, False, ["nothing has come yet"]).split(". ")[-1]
    'Likeliest it is 50 min early (give or take 50 min), and the orders reckon with that.'
    """
    parts = [part for part in (_timing(early_h, early_sd_h) if timing else "", _strength(strength, strength_sd) if wind else "") if part]
    first = f"The weather is {' and '.join(parts)}." if parts else "How the weather stands to the forecast cannot be told yet."
    sharp = "" if math.isnan(sharper) else " It comes more sharply than forecast: expect the next change to be sudden."
    said = first + sharp + "".join(f" {caveat[0].upper()}{caveat[1:]}." for caveat in caveats)
    if timing or not abs(early_h) >= EARLY_H:
        return said
    way = "early" if early_h > 0 else "late"
    return f"{said} Likeliest it is {span_words(early_h)} {way} (give or take {span_words(early_sd_h)}), and the orders reckon with that."


def at_a_glance(early_h: float, early_sd_h: float, strength: float, strength_sd: float, sharper: float, timing: bool, wind: bool,
                far_off: bool) -> str:  # fmt: skip
    """The same in a few words, only what is beyond doubt and worth acting on; "" when it goes as forecast, or cannot be told.

    >>> at_a_glance(0.7, 0.4, 1.2, 0.05, math.nan, True, True, False)
    '20 % stronger than forecast, 40 min early'
    >>> at_a_glance(-1.0, 0.4, 1.02, 0.05, 1.8, True, True, False), at_a_glance(0.7, 0.9, 0.9, 0.2, math.nan, True, True, False)
    ('1 h late, more sharply', '')
    """
    parts = []
    if wind and not abs(strength - 1.0) < max(STRONG_SHARE, strength_sd):
        parts.append(_share(strength))
    if timing and not abs(early_h) < max(EARLY_H, early_sd_h):
        parts.append(f"{span_words(early_h)} {'early' if early_h > 0 else 'late'}")
    if not math.isnan(sharper):
        parts.append("more sharply")
    if far_off:
        parts.append("far from the forecast: trust sky and glass")
    return ", ".join(parts)


def span_words(hours: float) -> str:
    """Hours -> '2 h 10 min', to ten minutes, at least ten.

    >>> span_words(2.1), span_words(0.02), span_words(3.0)
    ('2 h 10 min', '10 min', '3 h')
    """
    return span(timedelta(hours=abs(hours)))


def _timing(early_h: float, early_sd_h: float) -> str:
    give = f"(give or take {span_words(early_sd_h)})"
    if abs(early_h) < max(EARLY_H, early_sd_h):
        return f"on time as far as can be told {give}"
    return f"about {span_words(early_h)} {'early' if early_h > 0 else 'late'} {give}"


def _strength(strength: float, strength_sd: float) -> str:
    give = f"(give or take {max(1, math.ceil(100.0 * strength_sd - 1e-9))} %)"
    if abs(strength - 1.0) < max(STRONG_SHARE, strength_sd):
        return f"about as strong as forecast {give}"
    return f"{_share(strength)} {give}"


def _share(strength: float) -> str:
    """How much stronger or weaker, rounded to the stronger side."""
    percent = abs(strength - 1.0) * 100.0
    if strength > 1.0:
        return f"{math.ceil(percent - 1e-6):d} % stronger than forecast"
    return f"{math.floor(percent + 1e-6):d} % weaker than forecast"
