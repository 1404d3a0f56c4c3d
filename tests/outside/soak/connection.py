"""A bay's way to the service: calls of the Python client, that are counted, and connections that may be lost."""

import asyncio
import time

import sockets
from service import ANSWER
from trisect import AsyncClient, ConnectionLost, TrisectError
from violation import Lost, Violation

# What is in the audit trail before it is answered, if it can be written.
AUDITED = {"job.open", "job.answer", "job.close"}
# Refusals that say: not now.
LATER = {"too-busy", "rate-limited", "storage", "unknown-bay", "ended"}


class Way(AsyncClient):
    """A client that knows when its connection was lost while nobody called."""

    def gone(self):
        return self._reading is not None and self._reading.done()


class Connection:
    """A WebSocket that is opened anew when it was lost."""

    def __init__(self, service, tally):
        self.service, self.tally = service, tally
        self.client = None
        self.opening = asyncio.Lock()

    async def open(self):
        """Waits until the service is up, and connects."""
        async with self.opening:
            while self.client is None or self.client.gone():
                await self.service.up.wait()
                await self.lose(self.client)
                begun = time.monotonic()
                client = Way(self.service.url, timeout=ANSWER)
                try:
                    await client.open()
                    self.client = client
                except ConnectionLost as error:
                    if not self.service.may_lose(begun):
                        raise Violation(f"a connection was refused: {error}") from error
                    await asyncio.sleep(0.02)
            return self.client

    async def lose(self, client):
        """Lets a connection go, unless there is a new one by now."""
        if client is not None:
            if self.client is client:
                self.client = None
            await client.close()

    async def call(self, method, **params):
        """The result; raises TrisectError where it is refused, Lost where the connection went when it may."""
        client = await self.open()
        begun, full = time.monotonic(), self.service.full
        self.tally.calls[method] += 1
        try:
            result = await getattr(client, method.replace(".", "_"))(**params)
        except TrisectError as error:
            self.refusal(method, error)
            raise
        except (ConnectionLost, TimeoutError) as error:
            await self.lose(client)
            # What is lost is known of some moments later.
            if not self.service.may_lose(begun):
                await asyncio.sleep(0.2)
            if not self.service.may_lose(begun):
                raise Violation(f"{method}: no answer: {error!r} after {time.monotonic() - begun:.1f} s") from error
            raise Lost(method) from error
        self.tally.at_most(f"an answer to {method}", time.monotonic() - begun)
        if method in AUDITED and full % 2 == 0 and full == self.service.full:
            self.tally.audited[method] += 1
        return result

    def refusal(self, method, error):
        self.tally.refused[error.kind] += 1
        self.tally.hold("no refusal is internal", error.kind not in ("internal", "unknown"), lambda: f"{method}: {error}")

    async def post(self, method, params):
        """The same over HTTP, on a connection of its own."""
        await self.service.up.wait()
        begun = time.monotonic()
        self.tally.calls[method] += 1
        try:
            answer = await sockets.call(self.service.port, method, params, ANSWER)
        except (OSError, TimeoutError, ValueError) as error:
            await asyncio.sleep(0.2)
            if not self.service.may_lose(begun):
                raise Violation(f"{method} over HTTP: no answer: {error!r}") from error
            raise Lost(method) from error
        if "error" in answer:
            error = TrisectError(answer["error"])
            self.refusal(method, error)
            raise error
        return answer["result"]
