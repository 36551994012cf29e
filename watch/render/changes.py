"""What is different from the last orders, phrased for page and text: what a person who read those has to unlearn.

What differs, and how grave it is, comes from orders.differences alone; here it only becomes sentences.
"""

from dataclasses import dataclass

from watch.orders.differences import Severity, differences
from watch.orders.document import Orders

NOTHING = "Nothing worth a line."


@dataclass(frozen=True, kw_only=True)
class ChangeLine:
    """One sentence; heavy: it leaves less time or less in hand than was said before."""

    words: str
    heavy: bool


def changes(before: Orders, now: Orders) -> tuple[ChangeLine, ...]:
    """The last orders and the present ones -> sentences, most pressing first; empty when they say the same."""
    return tuple(
        ChangeLine(words=f"{change.words[:1].upper()}{change.words[1:].rstrip('.')}.", heavy=change.severity >= Severity.EARLIER)
        for change in differences(before, now)
    )
