"""Sleep: the longest stretch of her sleeping hours in which no job calls her.

says: from the end of a job, and the rest after it, to the next call, inside her sleeping hours. why: what a sailor alone can still do at
dawn depends on it more than on most; a night of four calls at even distances is no night. example: sleeping hours 21:00 to 07:00, one job
from 02:40 with its call at 02:20: sleep 21:00 to 02:20. source: judgement. The schedule counts each call and each hour up in these hours
against itself (the weights `wake` and `up_hour`), so that two jobs in one call are better than two calls.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from watch.when import runs

Bools = NDArray[np.bool_]


def longest_sleep(asleep: Bools, busy: Sequence[tuple[int, int]]) -> tuple[int, int] | None:
    """Her sleeping hours (T steps), and the steps (first, end) in which she is called, at work or resting after it -> the first step and
    the end of the longest unbroken sleep of the first night; None without one.

    >>> longest_sleep(np.array([False, True, True, True, True, True]), [(2, 3)])
    (3, 6)
    """
    night = next((r for r in runs(asleep) if r.value), None)
    if night is None:
        return None
    free = np.zeros(len(asleep), dtype=bool)
    free[night.first : night.last] = True
    for first, end in busy:
        free[max(first, 0) : max(end, 0)] = False
    found = [r for r in runs(free) if r.value]
    best = max(found, key=lambda r: r.last - r.first, default=None)
    return None if best is None else (int(best.first), int(best.last))
