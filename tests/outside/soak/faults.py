"""What is done to the service, by the plan: a method for each kind of disturbance."""

import asyncio
import json
import re
import time

import surroundings
from connection import Connection
from plan import REMOVED
from violation import Violation

# Within so long a step of the clock is noticed: it is looked for every 5 s, and the library looks at its file each second.
NOTICED = 20.0


class Faults:
    def __init__(self, service, configuration, disk, meters, noise, workers, tally, clock):
        self.service, self.configuration, self.disk, self.meters = service, configuration, disk, meters
        self.noise, self.workers, self.tally, self.clock = noise, workers, tally, clock
        self.step = "nothing yet"
        self.beside = set()
        self.rules_text, self.heavy = "", []
        self.offset = 0

    async def run(self, planned, begun):
        """Carries the plan out, one step after the other; what lasts goes on beside the next."""
        for number, one in enumerate(planned):
            await asyncio.sleep(max(0.0, begun + one["at"] - time.monotonic()))
            said = {name: value for name, value in one.items() if name not in ("at", "kind")}
            self.step = f"disturbance {number} ({one['kind']} {said})"
            print(f"soak: {time.monotonic() - begun:7.1f} s  {one['kind']} {json.dumps(said) if said else ''}".rstrip(), flush=True)
            try:
                await getattr(self, "do_" + one["kind"].replace("-", "_"))(**said)
            except Violation as found:
                raise Violation(f"{self.step}: {found}") from found
            self.tally.done[one["kind"]] += 1

    def aside(self, doing, name):
        """Goes on beside what comes next."""

        async def guarded():
            try:
                await doing
            except Violation as found:
                raise Violation(f"{name}: {found}") from found

        task = asyncio.create_task(guarded())
        self.beside.add(task)
        task.add_done_callback(self.ended)

    def ended(self, task):
        self.beside.discard(task)
        if not task.cancelled() and task.exception():
            self.service.fail(task.exception())

    async def settled(self):
        """Waits for what goes on beside."""
        while self.beside:
            await asyncio.wait(set(self.beside))

    async def looked_through(self):
        """The file as a kill or a stop left it."""
        found = await asyncio.to_thread(surroundings.integrity, self.service.journal)
        self.tally.hold("SQLite finds its file sound", found == ["ok"], lambda: f"{found[:5]}")

    async def do_kill(self):
        await self.service.kill()
        await self.looked_through()
        await self.service.start()

    async def do_kill_at_start(self, after):
        """Killed again before it may have listened."""
        await self.service.kill()
        await self.service.spawn()
        await asyncio.sleep(after)
        await self.service.kill()
        await self.looked_through()
        await self.service.start()

    async def do_terminate(self):
        await self.service.terminate()
        await self.looked_through()
        await self.service.start()

    async def taken_up(self, title):
        """A reload is seen in what a bay is called."""
        bays = (await self.heavy[0].call("bay.list"))["bays"]
        shown = {bay["bay"]: bay["title"] for bay in bays}
        self.tally.hold("a reload is taken up, or refused whole", shown.get("bay-1") == title, lambda: f"{shown} for {title}")

    async def do_reload(self, variant):
        self.configuration.change(variant)
        self.configuration.write()
        await self.service.reload()
        await self.taken_up(self.configuration.title("bay-1"))

    async def do_reload_kill(self, variant, after):
        """Killed while it takes up a configuration: it starts with the new one."""
        self.configuration.change(variant)
        self.configuration.change_front(variant)
        self.configuration.write()
        self.service.unsettle()
        self.service.hang_up()
        await asyncio.sleep(after)
        await self.service.kill()
        await self.looked_through()
        await self.service.start()
        await self.taken_up(self.configuration.title("bay-1"))

    async def do_reload_front(self, variant):
        """The listening side is exchanged: WebSockets are closed, no connection is refused."""
        self.configuration.change_front(variant)
        self.configuration.write()
        self.service.unsettle(self.service.stop_within + 30.0)
        await self.service.reload()
        self.service.unsettle(self.service.stop_within + 5.0)
        await self.taken_up(self.configuration.title("bay-1"))

    async def do_reload_refused(self, variant):
        before = self.configuration.title("bay-1")
        self.configuration.revision += 1
        self.configuration.write(self.configuration.mistake(variant))
        await self.service.reload()
        self.configuration.revision -= 1
        await self.taken_up(before)
        self.configuration.write()

    async def do_reload_bay(self, variant):
        """A bay is taken away with its open job, and given back."""
        self.configuration.remove_bay()
        self.configuration.write()
        self.service.unsettle(10.0)
        await self.service.reload()
        await self.taken_up(self.configuration.title("bay-1"))
        await asyncio.sleep(variant % 1500 / 1000)
        self.configuration.give_back()
        self.configuration.write()
        await self.service.reload()
        self.service.unsettle(5.0)
        bays = {bay["bay"] for bay in (await self.heavy[0].call("bay.list"))["bays"]}
        self.tally.hold("a bay is given back", REMOVED in bays, lambda: f"{bays}")

    async def while_full(self, seconds):
        """The disk is full for so long, while everything goes on."""
        self.service.full += 1
        if not self.disk.mounted:
            surroundings.limit_files(self.service.process.pid, self.service.journal)
            return await asyncio.sleep(seconds)
        refused, begun, until = self.tally.refused["storage"], time.monotonic(), None
        # What the file of changes has room for is still taken; it counts from the first refusal on.
        while time.monotonic() < (until or begun + 10.0):
            self.disk.fill()
            await asyncio.sleep(0.05)
            if until is None and self.tally.refused["storage"] > refused:
                until = time.monotonic() + seconds
        self.tally.done["refused while full"] += self.tally.refused["storage"] - refused

    def room(self):
        """Takes what filled the disk away."""
        self.disk.free()
        if self.service.process.returncode is None:
            surroundings.limit_files(self.service.process.pid, None)
        self.service.full += 1

    async def do_disk_full(self, seconds):
        try:
            await self.while_full(seconds)
        finally:
            self.room()

    async def do_disk_full_kill(self, seconds):
        try:
            await self.while_full(seconds)
            await self.service.kill()
        finally:
            self.room()
        await self.looked_through()
        await self.service.start()

    async def do_disk_full_terminate(self, seconds):
        """Told to stop while nothing can be written: it stops all the same."""
        try:
            await self.while_full(seconds)
            await self.service.terminate()
        finally:
            self.room()
        await self.looked_through()
        await self.service.start()

    async def do_disk_full_start(self, seconds):
        """Started where there is no room: it says so and ends, or serves what can be read."""
        if not self.disk.mounted:
            return await self.do_disk_full_kill(seconds)
        try:
            await self.while_full(seconds)
            await self.service.kill()
            self.disk.fill()
            process = await self.service.spawn()
            line = await asyncio.wait_for(process.stdout.readline(), 30.0)
            self.tally.done["started with the disk full" if line else "not started with the disk full"] += 1
            if line:
                await self.service.kill()
            else:
                code = await asyncio.wait_for(process.wait(), 30.0)
                self.tally.hold("a start that fails ends with 1", code == 1, f"it ended with {code}")
        finally:
            self.room()
        await self.looked_through()
        await self.service.start()

    async def do_file_limit(self, seconds):
        """Writing fails, as on a full disk, but on what would be longer."""
        self.service.full += 1
        surroundings.limit_files(self.service.process.pid, self.service.journal)
        try:
            await asyncio.sleep(seconds)
        finally:
            self.room()

    async def do_clock(self, offset):
        """The wall clock is set, for this process; the metrics say when that was noticed."""
        if not self.clock:
            return
        new = self.service.clock_file.with_suffix(".new")
        new.write_text(f"{offset:+d}")
        new.rename(self.service.clock_file)
        begun, step = time.monotonic(), offset - self.offset
        before = await self.stepped()
        self.offset = offset
        while step and abs(await self.stepped() - before - step) > 1.0:
            if time.monotonic() > begun + NOTICED:
                raise Violation(f"a step of the clock by {step} s was not noticed within {NOTICED} s")
            await asyncio.sleep(0.25)
        self.tally.checked["a step of the clock is noticed"] += 1
        self.tally.at_most("to notice a step of the clock", time.monotonic() - begun)

    async def stepped(self):
        status, said = await self.service.get("/metrics", 30.0)
        for line in said.splitlines():
            if line.startswith("trisect_clock_stepped_seconds "):
                return float(line.split()[1])
        raise Violation(f"/metrics answers {status} and has no trisect_clock_stepped_seconds")

    async def do_subscribers(self, dead, slow, seconds):
        self.aside(self.noise.subscribers(dead, slow, seconds), "subscribers that do not read")

    async def do_bad_requests(self, count, seed):
        self.aside(self.noise.bad_requests(count, seed), f"bad requests of seed {seed}")

    async def do_heavy(self, count, seed):
        self.aside(self.noise.heavy(self.heavy, self.rules_text, self.workers, count, seed), f"heavy questions of seed {seed}")

    async def do_prove(self, count):
        connections = [Connection(self.service, self.tally) for _ in range(count)]
        self.aside(self.noise.prove(connections, self.rules_text, count), "proofs asked for")

    async def do_install(self, version):
        """A rule set of another version: new jobs use it, open ones keep their own, over every restart."""
        text = re.sub(r'^version = ".*"', f'version = "{version}"', self.rules_text, count=1, flags=re.MULTILINE)
        await self.heavy[0].call("ruleset.install", text=text, by="soak")
        listed = await self.heavy[0].call("ruleset.list")
        versions = [one["version"] for one in listed["rulesets"]]
        self.tally.hold("an installed rule set is there", version in versions, lambda: f"{versions}")

    async def do_backup(self):
        """A copy while it runs is sound."""
        copy = self.service.folder / "copy.db"
        copy.unlink(missing_ok=True)
        process = await asyncio.create_subprocess_exec(
            self.service.program, "backup", str(copy), "--config", str(self.service.config),
            stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT,
        )  # fmt: skip
        said, _ = await process.communicate()
        self.tally.hold("a backup is made while it runs", process.returncode == 0, lambda: f"{said!r}")
        found = await asyncio.to_thread(surroundings.integrity, copy)
        self.tally.hold("SQLite finds a backup sound", found == ["ok"], lambda: f"{found[:5]}")
        copy.unlink()

    async def do_unplug(self, bay, seconds):
        self.meters[bay].unplug()
        await asyncio.sleep(seconds)
        self.meters[bay].plug()
