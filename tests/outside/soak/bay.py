"""A bay's worker: carries out its part of the plan, and holds what the service has against what was acknowledged."""

import asyncio
import json
import time
from random import Random

import plan
from actions import Actions
from connection import LATER, Connection
from model import Job
from trisect import AsyncClient, TrisectError
from violation import Lost, Violation


class Worker(Actions):
    """One bay: nobody else writes to its jobs."""

    def __init__(self, seed, bay, service, configuration, tally, rules, pace):
        self.seed, self.bay, self.service, self.configuration = seed, bay, service, configuration
        self.tally, self.rules, self.pace = tally, rules, pace
        self.connection = Connection(service, tally)
        self.hold = tally.hold
        self.job = None
        self.jobs = 0
        self.keys = 0
        self.closed, self.past = [], []
        self.number = 0
        self.step = "the beginning"
        self.seen_life = service.life
        self.listener = None
        self.ending = False

    async def run(self):
        """Goes on until it is told to end."""
        try:
            while not self.ending:
                action = plan.action(self.seed, self.bay, self.number)
                self.step = f"{self.bay}, action {self.number}: {action['kind']}"
                await self.one(action)
                self.number += 1
                await asyncio.sleep(action["pause"] * self.pace)
            self.step = f"{self.bay}: the end"
            await self.until_done(self.finish)
        except Violation as found:
            raise Violation(f"{self.step}: {found}") from found
        except (TrisectError, KeyError, TypeError) as error:
            raise Violation(f"{self.step}: {error!r} {error}") from error

    async def one(self, action):
        """One action, tried once: what is not known after it is settled before the next."""
        await self.until_done(self.settle)
        if self.seen_life != self.service.life:
            self.seen_life = self.service.life
            self.tally.done["restarts looked at"] += 1
            await self.until_done(self.whole_history)
            await self.until_done(self.look_at_closed, Random(action["choice"]))
        if self.job is None:
            await self.until_done(self.open_job)
        elif self.job.actions >= self.job.plan["actions"]:
            await self.until_done(self.close_job)
            return
        self.job.actions += 1
        chance = Random(action["choice"])
        try:
            await getattr(self, "do_" + action["kind"].replace("-", "_"))(action["size"], chance)
        except Lost:
            self.tally.done["connections lost on a call"] += 1
        except TrisectError as error:
            if error.kind not in LATER:
                raise Violation(f"refused: {error.kind}: {error}") from error

    async def until_done(self, doing, *arguments):
        """Tries again as long as the service is gone, has no room, or the bay is away."""
        tries = 0
        while True:
            try:
                return await doing(*arguments)
            except Lost:
                continue
            except TrisectError as error:
                if error.kind not in LATER:
                    raise
                tries += 1
                if tries > 600:
                    raise Violation(f"{doing.__name__}: still refused after {tries} tries: {error.kind}: {error}") from error
                await asyncio.sleep(0.1)

    async def open_job(self):
        """Opens the next job; one that was not answered may be open already, one that was refused may not."""
        job = Job(self.jobs, plan.job(self.seed, self.bay, self.jobs))
        machine = job.plan["machine"]
        complaint = self.rules.complaint(Random(job.plan["levels"])) if job.plan["complaint"] else None
        try:
            opened = await self.connection.call("job.open", bay=self.bay, machine=machine, complaint=complaint, by="soak")
            job.id = opened["job"]
        except Lost:
            job.id = await self.until_done(self.open_id, machine)
            if job.id is None:
                raise
        except TrisectError:
            there = await self.until_done(self.open_id, machine)
            self.hold("a refused job is not open", there is None, lambda: f"{machine} is open")
            raise
        self.tally.done["jobs opened"] += 1
        self.jobs += 1
        self.job = job

    async def open_id(self, machine):
        """The bay's open job; none, or that of this machine."""
        page = await self.connection.call("job.list", bay=self.bay, state="open")
        jobs = page["jobs"]
        self.hold("a bay has one open job at most", len(jobs) <= 1, lambda: f"{jobs}")
        if not jobs:
            return None
        self.hold("the open job is ours", jobs[0]["machine"] == machine, lambda: f"{jobs[0]} for {machine}")
        return jobs[0]["job"]

    async def settle(self):
        """Sends what was not answered again, until nothing is in doubt."""
        if self.job is None:
            return
        for one in self.job.unanswered():
            self.tally.done["sent again after a loss"] += 1
            try:
                await self.send(one)
            except TrisectError as error:
                if error.kind != "invalid-time":
                    raise
                # The clock was set since it was sent for the first time: whether it was stored then, the history tells.
                one.state = "either"
        if any(state == "sent" for *_, state in self.job.answers):
            shown = await self.connection.call("job.show", job=self.job.id)
            self.job.answered(shown["answers"], self.hold)

    async def history(self):
        """What was stored since it was last looked at, held against what was sent."""
        job = self.job
        if job is None:
            return
        more = True
        while more:
            page = await self.connection.call("reading.history", job=job.id, after_seq=job.last_seq)
            job.take(page["readings"], self.hold)
            more = page["more"]
        job.settle(self.hold)

    async def whole_history(self):
        """All of a job, from its first reading on."""
        if self.job is None:
            return
        self.job.anew()
        await self.history()
        shown = await self.connection.call("job.show", job=self.job.id)
        self.counts(self.job, shown)
        await self.sound(self.job)

    def counts(self, job, shown):
        job.answered(shown["answers"], self.hold)
        self.hold("the count of readings", shown["readings"] >= job.readings, lambda: f"{shown['readings']} for {job.readings}")
        if self.bay not in plan.METERED:
            sure = shown["readings"] == job.readings
            self.hold("the count of readings is what was sent", sure, lambda: f"{shown['readings']} for {job.readings}")
        self.proven(shown["verdict"])

    def proven(self, verdict):
        """No side is isolated while its proof is missing."""
        if verdict["standing"] != "isolated":
            return
        self.tally.done["isolated verdicts seen"] += 1
        lacking = [one for one in verdict["missing"] if one["side"] == verdict["side"] and not one.get("suspect")]
        self.hold("no side is isolated without its proof", not lacking, lambda: f"{verdict['side']}: {lacking}")

    async def sound(self, job):
        verified = await self.connection.call("job.verify", job=job.id)
        good = verified["sound"] and not verified["findings"]
        self.hold("verify finds a job sound", good, lambda: f"{job.id}: {verified}")
        return verified

    async def same(self, job):
        """The verdict that the events give anew, byte for byte."""
        replay = await self.connection.call("job.replay", job=job.id)
        self.hold("a replay gives the same", replay["same"], lambda: f"{job.id}: {replay['differences']}")
        return replay["replayed"]

    async def close_job(self):
        """Closes the job after a look at all of it, and notes what it must be for good."""
        job = self.job
        await self.history()
        try:
            await self.connection.call("job.close", job=job.id, note="soak")
        except Lost:
            if await self.until_done(self.open_id, job.plan["machine"]) is not None:
                raise
        except TrisectError as error:
            there = await self.until_done(self.open_id, job.plan["machine"])
            self.hold("a job that was not closed is open", there == job.id, lambda: f"{job.id}, refused {error.kind}, is {there}")
            raise
        self.job = None
        self.tally.done["jobs closed"] += 1
        self.tally.done["readings of meters in jobs"] += job.measured
        job.closed = await self.until_done(self.stands, job)
        # What a job needs to be looked at again; its readings were.
        self.past = [one for one in job.submissions if one.state == "stored" and one.key][-50:]
        job.of, job.order, job.submissions = {}, [], []
        self.closed.append(job)

    async def stands(self, job):
        """What never changes of a closed job."""
        verdict = await self.connection.call("job.verdict", job=job.id)
        shown = await self.connection.call("job.show", job=job.id)
        verified = await self.sound(job)
        self.counts(job, shown)
        replayed = await self.same(job)
        stands = {
            # Beside job and time.
            "verdict": json.dumps({name: verdict.get(name) for name in replayed}, sort_keys=True),
            "replayed": json.dumps(replayed, sort_keys=True),
            "readings": shown["readings"],
            "answers": len(shown["answers"]),
            "events": verified["events"],
            "digest": verified["digest"],
            "state": shown["state"],
        }
        self.hold("a closed job's verdict is its replay", stands["verdict"] == stands["replayed"], lambda: f"{job.id}")
        return stands

    async def look_at_closed(self, chance):
        """A closed job says what it said when it was closed."""
        if self.closed:
            await self.unchanged(chance.choice(self.closed))

    async def unchanged(self, job):
        now = await self.stands(job)
        differs = {name: (now[name][:200] if isinstance(now[name], str) else now[name]) for name in now if now[name] != job.closed[name]}
        self.hold("a closed job never changes", not differs, lambda: f"{job.id}: {differs}")

    async def finish(self):
        """Settles, looks at everything, closes the job."""
        await self.until_done(self.settle)
        if self.job is not None:
            await self.until_done(self.whole_history)
            await self.until_done(self.close_job)

    async def all_closed(self):
        """Every job of the bay, held against what it was when it was closed."""
        self.step = f"{self.bay}: all closed jobs"
        for job in self.closed:
            await self.until_done(self.unchanged, job)

    async def listen(self):
        """Watches the bay's verdicts and readings, and connects anew when the connection was lost."""
        await asyncio.gather(self.watch_verdicts(), self.watch_readings())

    async def each(self, method, take):
        """The items of a subscription, over all its connections."""
        while True:
            await self.service.up.wait()
            begun = time.monotonic()
            try:
                # A subscription has a connection of its own.
                async with getattr(AsyncClient(self.service.url), method)(bay=self.bay) as items:
                    take(None)
                    async for item in items:
                        take(item)
                        begun = time.monotonic()
            except TrisectError as error:
                if error.kind not in LATER:
                    raise Violation(f"{self.bay}: {method}: {error.kind}: {error}") from error
            except Exception as error:
                if isinstance(error, Violation):
                    raise
                await asyncio.sleep(0.3)
                if not self.service.may_lose(begun):
                    raise Violation(f"{self.bay}: {method} ended: {error!r}") from error
            await asyncio.sleep(0.2)

    async def watch_verdicts(self):
        def take(item):
            if item is not None and item["kind"] == "verdict":
                self.tally.done["verdicts told"] += 1
                self.proven(item)

        await self.each("verdict_watch", take)

    async def watch_readings(self):
        last = 0

        def take(item):
            nonlocal last
            if item is None:
                last = 0
            elif item["kind"] == "reading":
                self.tally.done["readings told"] += 1
                self.hold("a reading is told once", item["seq"] > last, lambda: f"{self.bay}: {item['seq']} after {last}")
                last = item["seq"]
            else:
                self.tally.done["readings missed by a subscriber"] += item.get("missed", 0)

        await self.each("reading_watch", take)
