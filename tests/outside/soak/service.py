"""The service under soak: a trisectd of its own, started, stopped, killed, told to reload; what it says and holds."""

import asyncio
import os
import re
import signal
import socket
import time
from pathlib import Path

from violation import Violation

# The longest a call may take on a busy machine before the service counts as hanging, in seconds.
ANSWER = 60.0
# Between two signs to whoever supervises the service, in seconds: what the unit allows.
SIGN = 30.0
# Words of the log that no fault of the surroundings explains.
BROKEN = re.compile(r"panicked|internal error|overflow|poisoned|RUST_BACKTRACE", re.IGNORECASE)


def free_port():
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return listening.getsockname()[1]


class Service:
    """Where it runs, and how it stands."""

    def __init__(self, program, folder, tally, stop_within, clock):
        self.program, self.folder, self.tally, self.stop_within = program, folder, tally, stop_within
        self.port = free_port()
        self.url = f"ws://127.0.0.1:{self.port}/rpc"
        self.config = folder / "trisectd.toml"
        self.journal = folder / "disk" / "journal.db"
        self.log = (folder / "log").open("wb")
        self.process = None
        self.up = asyncio.Event()
        # Connections may be lost until this moment of the monotonic clock.
        self.unsettled_until = 0.0
        # How often it was started: a greater number is another process.
        self.life = 0
        self.failed = asyncio.get_running_loop().create_future()
        self.errors = {}
        # Odd while the disk is full, or writing fails.
        self.full = 0
        self.signs = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.signs.bind(str(folder / "notify"))
        self.signs.setblocking(False)
        asyncio.get_running_loop().add_reader(self.signs, self._sign)
        self.ready = asyncio.Event()
        self.signed = None
        self.clock_file = folder / "clock"
        self.environment = {**os.environ, "NOTIFY_SOCKET": str(folder / "notify"), "WATCHDOG_USEC": "6000000"}
        if clock:
            self.clock_file.write_text("+0")
            self.environment |= {
                "LD_PRELOAD": clock,
                "FAKETIME_TIMESTAMP_FILE": str(self.clock_file),
                "FAKETIME_CACHE_DURATION": "1",
                "FAKETIME_DONT_FAKE_MONOTONIC": "1",
                "NO_FAKE_STAT": "1",
            }

    def fail(self, why):
        if not self.failed.done():
            self.failed.set_exception(why if isinstance(why, Exception) else Violation(why))

    def may_lose(self, since):
        """Whether a connection that was used since then may have been lost."""
        return since <= self.unsettled_until or not self.up.is_set()

    def unsettle(self, for_seconds=None):
        """Connections may be lost from now on, or for so long."""
        self.unsettled_until = float("inf") if for_seconds is None else time.monotonic() + for_seconds

    async def start(self, within=60.0):
        """Starts it and waits until it listens."""
        process = await self.spawn()
        try:
            await asyncio.wait_for(self.listening(process), within)
        except TimeoutError:
            self.fail(f"it did not listen within {within} s of its start")
            raise Violation(f"it did not listen within {within} s of its start") from None

    async def spawn(self):
        # A level that says what was reloaded; standard error is a pipe, so that a limit on files is not met by it.
        self.process = await asyncio.create_subprocess_exec(
            self.program, "serve", "--config", str(self.config),
            stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.PIPE,
            env=self.environment,
        )  # fmt: skip
        self.life += 1
        self.tally.done["starts"] += 1
        self.ready.clear()
        self.reading = asyncio.create_task(self._read(self.process.stderr))
        return self.process

    async def listening(self, process):
        line = await process.stdout.readline()
        if b"listening" not in line:
            raise Violation(f"it ended with {await process.wait()} at its start, having said {line!r}")
        # It listens on one address: what else it says there is read and put aside, in the way of a pipe.
        asyncio.create_task(self._drain(process.stdout))
        await self.ready.wait()
        self.signed = time.monotonic()
        self.unsettle(2.0)
        self.up.set()
        asyncio.create_task(self._ended(process))

    async def _drain(self, stream):
        while await stream.read(65_536):
            pass

    async def _read(self, stream):
        rest = b""
        while chunk := await stream.read(65_536):
            self.log.write(chunk)
            self.log.flush()
            *lines, rest = (rest + chunk).split(b"\n")
            for line in lines:
                self._line(re.sub(r"\x1b\[[0-9;]*m", "", line.decode(errors="replace")))

    def _line(self, line):
        if BROKEN.search(line):
            self.fail(f"the log says: {line}")
        said = re.search(r"\b(ERROR)\b +([\w:]+): (.*)", line)
        if said:
            # Without what differs from one to the next: values stand behind names.
            words = re.sub(r'[\w.]+=("[^"]*"|\S+)', "", said[3])
            words = re.sub(r"[0-9a-f]{8}-[0-9a-f-]{27}|\d+", "N", words).strip()[:100]
            self.errors[words] = self.errors.get(words, 0) + 1

    async def _ended(self, process):
        code = await process.wait()
        if process is self.process and self.up.is_set():
            self.up.clear()
            self.fail(f"the service ended by itself, with {code}")

    def _sign(self):
        while True:
            try:
                said = self.signs.recv(4096)
            except BlockingIOError:
                return
            if b"READY=1" in said:
                self.ready.set()
            if b"WATCHDOG=1" in said and self.signed is not None:
                self.tally.at_most("between two watchdog signs", time.monotonic() - self.signed)
                self.signed = time.monotonic()

    def resident(self):
        """What it holds and has held in memory, in KiB."""
        try:
            status = Path(f"/proc/{self.process.pid}/status").read_text()
        except OSError:
            return None
        rows = dict(re.findall(r"(VmRSS|VmHWM):\s+(\d+)", status))
        return (int(rows["VmRSS"]), int(rows["VmHWM"])) if rows else None

    async def kill(self):
        """Ends it at once, as a power cut would."""
        self.unsettle()
        self.up.clear()
        self.note_memory()
        self.process.kill()
        await self.process.wait()
        await self._gone()

    async def terminate(self):
        """Tells it to stop, and holds it to its word."""
        self.unsettle()
        self.up.clear()
        self.note_memory()
        begun = time.monotonic()
        self.process.terminate()
        try:
            code = await asyncio.wait_for(self.process.wait(), self.stop_within + 20.0)
        except TimeoutError:
            raise Violation(f"SIGTERM did not end it within {self.stop_within + 20.0} s") from None
        took = time.monotonic() - begun
        self.tally.at_most("to stop", took)
        # What it takes beyond the limit for its calls: the last writes, on a machine that is busy.
        self.tally.hold("it stops within stop_within", took <= self.stop_within + 5.0, f"it took {took:.1f} s")
        self.tally.hold("a stop ends with 0", code == 0, f"it ended with {code}")
        await self._gone()

    async def _gone(self):
        self.signed = None
        await self.reading
        for left in (f"faketime_shm_{self.process.pid}", f"sem.faketime_sem_{self.process.pid}"):
            Path("/dev/shm", left).unlink(missing_ok=True)

    def note_memory(self):
        held = self.resident()
        if held:
            self.tally.peak = max(self.tally.peak, held[1])

    async def reload(self):
        """Has it take up its configuration, and waits until it has."""
        self.ready.clear()
        self.hang_up()
        try:
            await asyncio.wait_for(self.ready.wait(), 60.0)
        except TimeoutError:
            raise Violation("a reload did not end within 60 s") from None

    def hang_up(self):
        self.process.send_signal(signal.SIGHUP)

    async def get(self, path, within):
        """Status and body of a GET, on a connection of its own."""

        async def ask():
            reader, writer = await asyncio.open_connection("127.0.0.1", self.port)
            try:
                writer.write(f"GET {path} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n".encode())
                said = await reader.read(-1)
            finally:
                writer.close()
            head, _, body = said.partition(b"\r\n\r\n")
            if not head:
                raise ConnectionResetError("closed without an answer")
            return int(head.split()[1]), body.decode(errors="replace")

        return await asyncio.wait_for(ask(), within)

    async def watch(self, memory):
        """Looks at it all the time: it is live, signs come, memory is bounded."""
        while True:
            await asyncio.sleep(0.25)
            if not self.up.is_set():
                continue
            begun, life = time.monotonic(), self.life
            try:
                status, _ = await self.get("/health/live", 20.0)
                self.tally.at_most("to say it is live", time.monotonic() - begun)
                self.tally.hold("/health/live answers 200", status == 200, f"it answered {status}")
            except (OSError, TimeoutError) as error:
                # A connection is refused in a kill alone: a reload and an exchange of the listening side refuse none.
                if self.life == life and self.up.is_set() and begun > self.unsettled_until:
                    raise Violation(f"/health/live did not answer: {error!r}") from error
                continue
            held = self.resident()
            if held:
                self.tally.peak = max(self.tally.peak, held[1])
                self.tally.hold("memory is bounded", held[1] <= memory * 1024, f"{held[1] // 1024} MiB")
            if self.signed is not None and self.life == life:
                since = time.monotonic() - self.signed
                self.tally.hold("watchdog signs go on", since <= SIGN, f"none for {since:.0f} s")
