"""What comes beside the bays' work: requests that are none, subscribers that do not read, questions that are heavy."""

import asyncio
import contextlib
import json
import time
from random import Random

import sockets
from plan import BAYS
from sockets import frame, post, request
from trisect import TrisectError
from violation import Lost, Violation

JUNK = [
    b"",
    b"{",
    b"[]",
    b"null",
    b"0",
    b'"',
    b"\xff\xfe\x00\x01",
    b"\xed\xa0\x80",
    b"[" * 100_000,
    b'{"a":' * 20_000,
    b'{"jsonrpc":"2.0","method":"bay.list","id":{}}',
    b'{"jsonrpc":"1.0","method":"bay.list","id":1}',
    b'{"jsonrpc":"2.0","method":7,"id":1}',
    b'{"jsonrpc":"2.0","id":1}',
    b'{"jsonrpc":"2.0","method":"bay.list","params":[1,2],"id":1}',
    b'{"jsonrpc":"2.0","method":"no.such","params":{},"id":1e999}',
    b'{"jsonrpc":"2.0","method":"bay.list","id":1,"id":2}',
    b"[" + b",".join([b'{"jsonrpc":"2.0","method":"bay.list","id":1}'] * 2000) + b"]",
    b"[" + b",".join([b"1"] * 900) + b"]",
]


def strange(chance):
    """A request whose shape is right and whose content is not; none of them may store anything."""
    long = "x" * chance.choice([257, 5_000, 300_000])
    odd = chance.choice(["\u202e\u0000\n", "\ud83d\ude00" * 50, long, "", "../../etc/passwd", "'; DROP TABLE job; --"])
    number = chance.choice([-1, 0, 2**31, 2**63, 2**64, 1e308, 0.5])
    return chance.choice([
        ("reading.history", {"job": odd}),
        ("reading.history", {"bay": "bay-1", "limit": number}),
        ("reading.history", {"bay": "bay-1", "after_seq": number}),
        ("reading.history", {"bay": "bay-1", "outside": True, "from": odd, "until": odd}),
        ("reading.submit", {"bay": odd, "readings": []}),
        ("reading.submit", {"bay": "bay-1", "readings": [{"point": "battery", "value": None, "unit": "V"}]}),
        ("reading.submit", {"bay": "bay-1", "readings": [{"point": odd, "value": 1.0, "unit": odd}]}),
        ("reading.submit", {"bay": "bay-1", "senml": [{"n": "battery", "v": 1e400 if number == 1e308 else "x", "u": "V"}]}),
        ("reading.submit", {"bay": "bay-1", "readings": [{"point": "battery", "value": 12.0, "unit": "V"}], "key": long}),
        ("reading.enter", {"bay": "bay-1", "point": "battery", "value": odd, "by": "x"}),
        ("job.show", {"job": odd}),
        ("job.list", {"limit": number}),
        ("job.open", {"bay": "bay-1", "machine": ""}),
        ("job.open", {"bay": odd, "machine": "x"}),
        ("job.answer", {"job": "0", "check": odd, "answer": odd}),
        ("ruleset.examine", {"text": odd}),
        ("ruleset.install", {"text": odd}),
        ("instrument.attach", {"bay": "bay-1", "instrument": odd, "adapter": "multimeter", "settings": {"port": odd}}),
        ("instrument.probe", {"port": "/nonexistent", "seconds": number}),
        ("audit.list", {"limit": number, "before": number}),
        ("delivery.list", {"webhook": odd}),
        ("calibration.show", {"calibration": odd}),
        (odd[:200], {}),
    ])  # fmt: skip


def raw(chance):
    """Bytes that are no request, or not one of HTTP's."""
    body = request("bay.list", {})
    flipped = bytearray(post(body))
    flipped[chance.randrange(len(flipped))] ^= 1 << chance.randrange(8)
    return chance.choice([
        bytes(flipped),
        post(body, length=len(body) + 50)[: -chance.randint(1, 20)],
        post(body, length=10**12)[:300],
        post(body, b"transfer-encoding: chunked\r\n"),
        post(b"", b"host: elsewhere.example\r\n"),
        post(body, b"x: " + b"y" * 200_000 + b"\r\n"),
        post(body, b"authorization: Bearer nobody\r\n"),
        b"GET / HTTP/1.1\r\n\r\n",
        b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(200),
        bytes(chance.randrange(256) for _ in range(500)),
        b"GET /rpc HTTP/1.1\r\nhost: localhost\r\nupgrade: websocket\r\nconnection: upgrade\r\nsec-websocket-key: !\r\n\r\n",
    ])  # fmt: skip


def frames(chance):
    """What no WebSocket client may send."""
    text = request("bay.list", {})
    return chance.choice([
        frame(text, masked=False),
        frame(text, reserved=7),
        frame(text, opcode=3),
        frame(b"\xff\xff\xff", opcode=1),
        frame(b"x" * 126, opcode=9),
        frame(b"part", final=False) + frame(text),
        frame(b"", opcode=0),
        frame(b"\x03", opcode=8),
        frame(b"x", opcode=1)[:-1],
        b"\x81\xff\xff\xff\xff\xff\xff\xff\xff\xff\x00\x00\x00\x00",
        frame(text) * 300,
        frame(chance.choice(JUNK)),
    ])  # fmt: skip


class Noise:
    def __init__(self, service, tally, token):
        self.service, self.tally, self.token = service, tally, token

    async def bad_requests(self, count, seed):
        chance = Random(seed)
        for number in range(count):
            self.tally.done["bad requests"] += 1
            begun = time.monotonic()
            what = chance.choice(["junk", "strange", "strange", "raw", "frames", "reader"])
            one = Random(chance.randrange(1 << 32))
            try:
                await asyncio.wait_for(getattr(self, what)(one), 45.0)
            except TimeoutError as error:
                if not self.service.may_lose(begun):
                    raise Violation(f"bad request {number} ({what}) of seed {seed} was neither answered nor cut within 45 s") from error
            except (OSError, asyncio.IncompleteReadError):
                # It was cut, or the service is away.
                continue

    async def junk(self, chance):
        body = chance.choice(JUNK)
        self.told(await sockets.exchange(self.service.port, post(body), 40.0), body)

    async def strange(self, chance):
        method, params = strange(chance)
        body = request(method, params)
        self.told(await sockets.exchange(self.service.port, post(body), 40.0), body)

    async def raw(self, chance):
        data = raw(chance)
        self.told(await sockets.exchange(self.service.port, data, 40.0), data)

    async def reader(self, chance):
        """Whoever may read may not write."""
        method, params = chance.choice([
            ("job.open", {"bay": "bay-1", "machine": "Unit of nobody"}),
            ("reading.submit", {"bay": "bay-1", "readings": [{"point": "battery", "value": 17.5, "unit": "V"}]}),
            ("ruleset.install", {"text": "format = 1"}),
            ("job.answer", {"job": "0", "check": "fuel-seen", "answer": "seen"}),
        ])  # fmt: skip
        body = request(method, params)
        said = await sockets.exchange(self.service.port, post(body, b"authorization: Bearer %s\r\n" % self.token), 40.0)
        if said:
            self.tally.hold("a reader may not write", b"not-permitted" in said or b"too-busy" in said, lambda: f"{said[-300:]!r} to {method}")

    def told(self, said, asked):
        """Nothing that is sent is the service's own failure, but for a disk that is full."""
        if not said:
            return
        head, _, body = said.partition(b"\r\n\r\n")
        status = head.split()[1:2]
        good = status and status[0].isdigit() and status[0] not in (b"500", b"501", b"502")
        self.tally.hold("a bad request is answered as such", good, lambda: f"{head[:200]!r} to {asked[:200]!r}")
        with contextlib.suppress(ValueError):
            answer = json.loads(body)
            for one in answer if isinstance(answer, list) else [answer]:
                kind = ((one.get("error") or {}).get("data") or {}).get("kind")
                self.tally.hold("a bad request is no internal error", kind != "internal", lambda: f"{body[:300]!r} to {asked[:200]!r}")

    async def frames(self, chance):
        reader, writer = await sockets.upgrade(self.service.port)
        try:
            writer.write(frames(chance))
            await writer.drain()
            # Some of them are waited on for more: it need not say anything.
            await asyncio.wait_for(reader.read(65_536), 2.0)
        except TimeoutError:
            pass
        finally:
            writer.close()

    async def subscribers(self, dead, slow, seconds):
        """Some that never read, some that read a little now and then."""
        until = time.monotonic() + seconds

        async def one(number, reads):
            try:
                reader, writer = await sockets.upgrade(self.service.port, receive=4096)
            except (OSError, asyncio.IncompleteReadError):
                return
            try:
                for at, bay in enumerate(BAYS):
                    for method in ("reading.watch", "verdict.watch"):
                        writer.write(frame(request(method, {"bay": bay}, number=at)))
                await writer.drain()
                self.tally.done["slow subscribers" if reads else "dead subscribers"] += 1
                while time.monotonic() < until:
                    await asyncio.sleep(0.3)
                    if reads and not await asyncio.wait_for(reader.read(2000), 10.0):
                        return
            except (OSError, TimeoutError):
                return
            finally:
                writer.transport.abort()

        await asyncio.gather(*(one(number, number >= dead) for number in range(dead + slow)))

    async def prove(self, connections, rules_text, count):
        """The heaviest question there is, a few times at once; some who ask go before the answer."""

        async def ask(connection, stays):
            self.tally.done["proofs asked for"] += 1
            asking = connection.call("ruleset.examine", text=rules_text, prove=True)
            try:
                # For as long as it takes, by a caller who stays; what it comes to is nobody's matter here.
                await asyncio.wait_for(asking, 50.0 if stays else 2.0)
            except (Lost, TimeoutError):
                await connection.lose(connection.client)
            except TrisectError as error:
                if error.kind not in ("too-busy", "too-large", "storage"):
                    raise Violation(f"ruleset.examine: {error.kind}: {error}") from error

        await asyncio.gather(*(ask(connections[number % len(connections)], number % 2) for number in range(count)))

    async def heavy(self, connections, rules_text, workers, count, seed):
        """Questions that take long, several at a time."""
        chance = Random(seed)

        async def ask(connection, number):
            closed = [job.id for worker in workers for job in worker.closed]
            opened = [worker.job.id for worker in workers if worker.job]
            jobs = closed + opened
            kind = chance.choice(["job.verify", "job.replay", "job.export", "job.report", "ruleset.examine", "reading.history", "audit.list"])
            if kind == "ruleset.examine":
                params = {"text": rules_text}
            elif kind == "audit.list":
                params = {"limit": 1000}
            elif jobs:
                params = {"job": chance.choice(jobs)}
            else:
                return
            self.tally.done["heavy questions"] += 1
            try:
                await connection.call(kind, **params)
            except Lost:
                return
            except TrisectError as error:
                if error.kind not in ("too-busy", "too-large", "storage"):
                    raise Violation(f"{kind}: {error.kind}: {error}") from error

        each = [connections[number % len(connections)] for number in range(count)]
        await asyncio.gather(*(ask(connection, number) for number, connection in enumerate(each)))
