"""Gusts that rise fast: the beginning of a squall, before any limit is passed."""

FAST_KN = 4.0  # judgement (source gusts-rising-1): in steady wind gusts of neighbouring ten minutes differ so much once in a hundred times


def rising_on(before_kn: float, now_kn: float) -> float:
    """The highest gusts [kn] of the ten minutes before last and of the last -> of the next, if they rise on as they did; the last
    itself unless they rose fast. What is not known does not rise.

    >>> rising_on(23.0, 28.0), rising_on(25.0, 28.0), rising_on(float("nan"), 28.0)
    (33.0, 28.0, 28.0)
    """
    return 2.0 * now_kn - before_kn if now_kn - before_kn >= FAST_KN else now_kn
