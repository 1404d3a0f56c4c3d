"""Connections that calls are made on."""
from __future__ import annotations

import asyncio
import threading
from types import TracebackType
from typing import Any

from websockets.asyncio.client import ClientConnection, connect as connect_async
from websockets.exceptions import WebSocketException
from websockets.sync.client import connect

from . import wire
from .errors import ConnectionLost
from .methods import AsyncMethods, Methods
from .watch import AsyncWatch, Watch


class Client(Methods):
    """A connection to a service; one call at a time, from any thread. Without an address: TRISECT_SERVER, or this machine."""

    def __init__(self, url: str | None = None, *, token: str | None = None, timeout: float = 30.0) -> None:
        self._url, self._headers, self._timeout = wire.address(url), wire.headers(token), timeout
        self._numbers, self._lock = wire.Numbers(), threading.Lock()
        try:
            self._socket = connect(self._url, additional_headers=self._headers, max_size=wire.LONGEST, open_timeout=timeout, proxy=None)
        except (OSError, WebSocketException) as error:
            raise ConnectionLost(f"cannot connect to {self._url}: {error}") from error

    def _call(self, method: str, params: dict[str, Any]) -> Any:
        with self._lock:
            number, text = self._numbers.request(method, params)
            try:
                self._socket.send(text)
                # Answers to calls that were given up are let pass.
                while (message := wire.read(self._socket.recv(self._timeout))).get("id") != number:
                    pass
            except WebSocketException as error:
                raise ConnectionLost(f"{method}: the connection was lost: {error}") from error
            return wire.result(message)

    def _watch(self, method: str, end: str, params: dict[str, Any]) -> Watch[Any]:
        return Watch(self._url, self._headers, method, params)

    def close(self) -> None:
        """Ends the connection."""
        self._socket.close()

    def __enter__(self) -> Client:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()


class AsyncClient(AsyncMethods):
    """A connection to a service, for asyncio; any number of calls at once. Use it in an `async with`."""

    def __init__(self, url: str | None = None, *, token: str | None = None, timeout: float = 30.0) -> None:
        self._url, self._headers, self._timeout = wire.address(url), wire.headers(token), timeout
        self._numbers = wire.Numbers()
        self._waiting: dict[int, asyncio.Future[dict[str, Any]]] = {}
        self._socket: ClientConnection | None = None
        self._reading: asyncio.Task[None] | None = None

    async def open(self) -> AsyncClient:
        """Connects; `async with` does it by itself."""
        try:
            self._socket = await connect_async(self._url, additional_headers=self._headers, max_size=wire.LONGEST, open_timeout=self._timeout, proxy=None)
        except (OSError, WebSocketException) as error:
            raise ConnectionLost(f"cannot connect to {self._url}: {error}") from error
        self._reading = asyncio.create_task(self._read(self._socket))
        return self

    async def _read(self, socket: ClientConnection) -> None:
        lost: Exception = ConnectionLost("the connection was closed")
        try:
            async for text in socket:
                message = wire.read(text)
                waiting = self._waiting.pop(message.get("id", 0), None)
                if waiting is not None and not waiting.done():
                    waiting.set_result(message)
        except (WebSocketException, ValueError, ConnectionLost) as error:
            lost = ConnectionLost(f"the connection was lost: {error}")
        for waiting in self._waiting.values():
            if not waiting.done():
                waiting.set_exception(lost)
        self._waiting.clear()

    async def _call(self, method: str, params: dict[str, Any]) -> Any:
        if self._socket is None:
            await self.open()
        assert self._socket is not None and self._reading is not None
        if self._reading.done():
            raise ConnectionLost(f"{method}: the connection was lost")
        number, text = self._numbers.request(method, params)
        answer: asyncio.Future[dict[str, Any]] = asyncio.get_running_loop().create_future()
        self._waiting[number] = answer
        try:
            await self._socket.send(text)
            message = await asyncio.wait_for(answer, self._timeout)
        except WebSocketException as error:
            raise ConnectionLost(f"{method}: the connection was lost: {error}") from error
        finally:
            self._waiting.pop(number, None)
            if answer.done() and not answer.cancelled():
                # A request that could not be sent has its error; that of its answer is nobody's any more.
                answer.exception()
        return wire.result(message)

    def _watch(self, method: str, end: str, params: dict[str, Any]) -> AsyncWatch[Any]:
        return AsyncWatch(self._url, self._headers, method, params)

    async def close(self) -> None:
        """Ends the connection."""
        if self._socket is not None:
            await self._socket.close()
        if self._reading is not None:
            await self._reading

    async def __aenter__(self) -> AsyncClient:
        return await self.open()

    async def __aexit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        await self.close()
