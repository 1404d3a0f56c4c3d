"""Subscriptions: items as they are told, each on a connection of its own."""
from __future__ import annotations

from types import TracebackType
from typing import Any, AsyncIterator, Generic, Iterator, TypeVar, cast

from websockets.asyncio.client import ClientConnection, connect as connect_async
from websockets.exceptions import WebSocketException
from websockets.sync.client import ClientConnection as BlockingConnection, connect

from . import wire
from .errors import ConnectionLost

T = TypeVar("T")


class Watch(Generic[T]):
    """Iterate over it; `close` it, or use it in a `with`. An item `{"kind": "gap"}` says how many were missed."""

    def __init__(self, url: str, headers: dict[str, str], method: str, params: dict[str, Any]) -> None:
        self._method = method
        try:
            self._socket: BlockingConnection = connect(url, additional_headers=headers, max_size=wire.LONGEST, proxy=None)
            number, text = wire.Numbers().request(method, params)
            self._socket.send(text)
            while (message := wire.read(self._socket.recv())).get("id") != number:
                pass
        except (OSError, WebSocketException) as error:
            raise ConnectionLost(f"cannot watch at {url}: {error}") from error
        try:
            self._subscription = wire.result(message)
        except Exception:
            self.close()
            raise

    def __iter__(self) -> Iterator[T]:
        return self

    def __next__(self) -> T:
        return self.next()

    def next(self, timeout: float | None = None) -> T:
        """The next item; raises TimeoutError after so many seconds without one."""
        while True:
            try:
                message = wire.read(self._socket.recv(timeout))
            except WebSocketException as error:
                raise ConnectionLost(f"the connection was lost: {error}") from error
            found, item = wire.item(message, self._method, self._subscription)
            if found:
                return cast(T, item)

    def close(self) -> None:
        """Ends the subscription."""
        self._socket.close()

    def __enter__(self) -> Watch[T]:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()


class AsyncWatch(Generic[T]):
    """Use it in an `async with`, and iterate over it with `async for`."""

    def __init__(self, url: str, headers: dict[str, str], method: str, params: dict[str, Any]) -> None:
        self._url, self._headers, self._method, self._params = url, headers, method, params
        self._socket: ClientConnection | None = None
        self._subscription: object = None

    async def open(self) -> AsyncWatch[T]:
        """Subscribes; `async with` does it by itself."""
        try:
            self._socket = await connect_async(self._url, additional_headers=self._headers, max_size=wire.LONGEST, proxy=None)
            number, text = wire.Numbers().request(self._method, self._params)
            await self._socket.send(text)
            while (message := wire.read(await self._socket.recv())).get("id") != number:
                pass
        except (OSError, WebSocketException) as error:
            raise ConnectionLost(f"cannot watch at {self._url}: {error}") from error
        try:
            self._subscription = wire.result(message)
        except Exception:
            await self.close()
            raise
        return self

    def __aiter__(self) -> AsyncIterator[T]:
        return self

    async def __anext__(self) -> T:
        if self._socket is None:
            await self.open()
        assert self._socket is not None
        while True:
            try:
                message = wire.read(await self._socket.recv())
            except WebSocketException as error:
                raise ConnectionLost(f"the connection was lost: {error}") from error
            found, item = wire.item(message, self._method, self._subscription)
            if found:
                return cast(T, item)

    async def close(self) -> None:
        """Ends the subscription."""
        if self._socket is not None:
            await self._socket.close()

    async def __aenter__(self) -> AsyncWatch[T]:
        return await self.open()

    async def __aexit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        await self.close()
