"""(I/O) Small settings of the watch by name: anything that JSON can hold."""

import json
from typing import Any

from watch.service.store.memory import Memory


class Settings(Memory):
    """What is put under a name, and had back."""

    def put(self, name: str, value: Any) -> None:
        """Keeps a value of text, numbers, lists and tables under a name, in place of what was there. NaN is refused with a ValueError."""
        text = json.dumps(value, ensure_ascii=False, allow_nan=False)
        self._write(lambda db: db.execute(
            "INSERT INTO setting (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", (name, text)
        ))  # fmt: skip

    def get(self, name: str, default: Any = None) -> Any:
        """The value under a name; `default` when there is none, or when it cannot be read any more, which is said."""
        row = self._read(lambda db: db.execute("SELECT value FROM setting WHERE name = ?", (name,)).fetchone())
        found = self._each([] if row is None else [row], json.loads, "setting")
        return found[0] if found else default
