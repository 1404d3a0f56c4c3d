"""JSON-RPC 2.0, without a connection."""
from __future__ import annotations

import itertools
import json
import os
from typing import Any

from .errors import ConnectionLost, TrisectError

#: The longest message that is taken, in bytes.
LONGEST = 64 << 20


def address(url: str | None) -> str:
    """The address given, that of TRISECT_SERVER, or that of a service on this machine."""
    return url or os.environ.get("TRISECT_SERVER") or "ws://127.0.0.1:7474/rpc"


def headers(token: str | None) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"} if token else {}


class Numbers:
    """Requests, each with a number of its own."""

    def __init__(self) -> None:
        self._next = itertools.count(1)

    def request(self, method: str, params: dict[str, Any] | list[Any]) -> tuple[int, str]:
        """A request's number and text; parameters that are None are left out."""
        number = next(self._next)
        if isinstance(params, dict):
            params = {name: value for name, value in params.items() if value is not None}
        return number, json.dumps({"jsonrpc": "2.0", "id": number, "method": method, "params": params})


def read(text: str | bytes) -> dict[str, Any]:
    message = json.loads(text)
    if not isinstance(message, dict):
        raise ConnectionLost("the service answered what is no JSON-RPC message")
    return message


def result(message: dict[str, Any]) -> Any:
    """The result of an answer; raises its error."""
    if "error" in message:
        raise TrisectError(message["error"])
    return message.get("result")


def item(message: dict[str, Any], method: str, subscription: object) -> tuple[bool, Any]:
    """Whether a message is an item of a subscription, and the item; raises its end."""
    params = message.get("params") or {}
    if message.get("method") != method or params.get("subscription") != subscription:
        return False, None
    if "error" in params:
        raise TrisectError({"code": 1304, "data": params["error"]})
    return True, params.get("result")
