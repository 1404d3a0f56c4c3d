"""What can go wrong."""
from __future__ import annotations

from typing import Any


class TrisectError(Exception):
    """The service refused a request, and said why."""

    def __init__(self, error: dict[str, Any]) -> None:
        data = error.get("data") or {}
        #: The JSON-RPC error code.
        self.code: int = int(error.get("code", 0))
        #: The stable word for programs, such as `unknown-point`.
        self.kind: str = str(data.get("kind", "unknown"))
        #: What was wrong, for people.
        self.message: str = str(data.get("message") or error.get("message", ""))
        #: The parameter at fault, as a path; or None.
        self.field: str | None = data.get("field")
        #: What to do about it; or None.
        self.hint: str | None = data.get("hint")
        super().__init__(self.message + (f" ({self.hint})" if self.hint else ""))


class ConnectionLost(Exception):
    """The connection to the service was lost, or could not be opened."""
