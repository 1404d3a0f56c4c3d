"""What a bay's worker does, an action each."""

import asyncio
import datetime
from random import Random

import sockets
from connection import LATER
from plan import METERED
from rules import WEAK_LIFT_PUMP
from trisect import TrisectError
from violation import Lost

PHASES = ["off", "key-on", "cranking", "idle", "loaded"]


class Actions:
    """Part of a worker: the actions of the plan."""

    def rows(self, size, chance):
        """Readings of one point, each with a value of its own."""
        job = self.job
        if not hasattr(job, "levels"):
            job.levels = self.rules.levels(job.plan["profile"], Random(job.plan["levels"]))
            job.serial = 0
        names = ["battery", "pump-inlet-pressure"] if chance.random() < 0.6 else sorted(job.levels)
        point = chance.choice([name for name in names if name in job.levels])
        rows = []
        for _ in range(size):
            job.serial += 1
            rows.append((point, round(job.levels[point] + job.serial / 1_000_000, 6)))
        return rows

    def key(self):
        self.keys += 1
        return f"soak {self.seed} {self.bay} {self.keys}"

    def params(self, one, timed=None):
        """A submission as it is sent; the same each time."""
        readings = [{"point": point, "value": value, "unit": self.rules.points[point]["unit"]} for point, value in one.rows]
        if timed:
            for reading in readings:
                reading["time"] = timed
        return {"bay": self.bay, "readings": readings, "key": one.key}

    def prepare(self, size, chance, keyed=True):
        one = self.job.submission(self.key() if keyed else None, self.rows(size, chance))
        one.method, one.params = "reading.submit", self.params(one)
        return one

    async def send(self, one):
        """Sends a submission, or sends it again; what is answered has to fit what was answered before."""
        before = one.state
        one.sending()
        if before == "new":
            one.state = "sent"
        try:
            answer = await self.connection.call(one.method, **one.params)
        except TrisectError:
            if before in ("new", "refused"):
                one.state = "refused"
            # One that was not answered before may be there all the same: it is sent again.
            raise
        except Lost:
            if before == "refused":
                one.state = "sent"
            raise
        accepted, repeated = answer.get("accepted", 1), answer.get("repeated", False)
        self.hold("what is acknowledged is all of it", accepted == len(one.rows), lambda: f"{accepted} of {len(one.rows)} of {one.key}")
        if before in ("new", "refused"):
            self.hold("a new key is not repeated", not repeated, lambda: f"{one.key}, {before}")
        if before == "stored":
            self.hold("a known key is repeated", repeated, lambda: f"{one.key}")
        if one.state != "stored":
            self.tally.readings += len(one.rows)
            self.tally.done["submissions acknowledged"] += 1
        one.stored()

    async def until_sent(self, one):
        """As a front end does: again under its key until it is stored."""
        await self.until_done(self.send, one)

    async def do_submit(self, size, chance):
        one = self.prepare(size, chance)
        if chance.random() < 0.5:
            await self.until_sent(one)
        else:
            await self.send(one)

    async def do_submit_senml(self, size, chance):
        one = self.prepare(min(size, 20), chance)
        # Units that SenML shares with the rule set; others are submitted plainly.
        if self.rules.points[one.rows[0][0]]["unit"] in ("V", "A"):
            unit = self.rules.points[one.rows[0][0]]["unit"]
            one.ordered = False
            one.params = {"bay": self.bay, "senml": [{"n": point, "v": value, "u": unit} for point, value in one.rows], "key": one.key}
        await self.send(one)

    async def do_submit_timed(self, size, chance):
        """With the time of another clock, which may be refused."""
        one = self.prepare(min(size, 20), chance)
        one.ordered = False
        now = datetime.datetime.now(datetime.UTC) - datetime.timedelta(milliseconds=chance.randint(0, 2000))
        one.params = self.params(one, now.strftime("%Y-%m-%dT%H:%M:%S.%fZ"))
        try:
            await self.send(one)
        except TrisectError as error:
            if error.kind != "invalid-time":
                raise

    async def do_enter(self, size, chance):
        one = self.prepare(1, chance)
        point, value = one.rows[0]
        one.method, one.ordered = "reading.enter", False
        unit = self.rules.points[point]["unit"]
        one.params = {"bay": self.bay, "point": point, "value": f"{value:.6f} {unit}", "by": "soak", "key": one.key}
        if chance.random() < 0.3:
            one.params["phase"] = chance.choice(PHASES)
        await self.send(one)

    async def do_answer(self, size, chance):
        job = self.job
        if job.plan["profile"] == "lift-pump-weak" and chance.random() < 0.8:
            check, answer = chance.choice(WEAK_LIFT_PUMP)
        else:
            check, answers = chance.choice(self.rules.asked)
            answer = chance.choice(answers)
        job.answers.append((check, answer, "sent"))
        try:
            said = await self.connection.call("job.answer", job=job.id, check=check, answer=answer, by="soak")
        except TrisectError:
            job.answers.pop()
            shown = await self.until_done(self.shown)
            job.answered(shown["answers"], self.hold)
            raise
        job.answers[-1] = (check, answer, "stored")
        self.tally.done["answers"] += 1
        self.proven(said)

    async def shown(self):
        return await self.connection.call("job.show", job=self.job.id)

    async def do_phase(self, size, chance):
        profile = self.job.plan["profile"] == "lift-pump-weak"
        phase = "cranking" if profile and chance.random() < 0.6 else chance.choice(PHASES)
        await self.connection.call("phase.say", bay=self.bay, phase=phase)

    async def do_again(self, size, chance):
        """A key of this job or the one before, acknowledged some time ago."""
        known = [one for one in self.job.submissions if one.state == "stored" and one.key]
        if self.past and chance.random() < 0.3:
            known = self.past
        if known:
            await self.send(chance.choice(known[-50:]))
            self.tally.done["keys sent again"] += 1

    async def do_again_at_once(self, size, chance):
        """One submission on three ways at once: stored once."""
        one = self.prepare(size, chance)
        one.sending()
        one.state = "sent"
        ways = [self.connection.call(one.method, **one.params)] + [self.connection.post(one.method, one.params) for _ in range(2)]
        said = await asyncio.gather(*ways, return_exceptions=True)
        for unforeseen in said:
            if isinstance(unforeseen, BaseException) and not isinstance(unforeseen, (TrisectError, Lost)):
                raise unforeseen
        answers = [answer for answer in said if isinstance(answer, dict)]
        first = [answer for answer in answers if not answer["repeated"]]
        self.hold("a key sent at once is stored once", len(first) <= 1, lambda: f"{one.key}: {said}")
        if answers:
            lost = any(isinstance(answer, Lost) for answer in said)
            self.hold("somebody is told it is new", first or lost, lambda: f"{one.key}: {said}")
            self.tally.readings += len(one.rows)
            self.tally.done["keys sent at once"] += 1
            one.stored()
        elif all(isinstance(answer, TrisectError) for answer in said):
            one.state = "refused"

    async def do_burst(self, size, chance):
        """Different submissions side by side on one connection."""
        many = [self.prepare(min(size, 20), chance) for _ in range(5)]
        said = await asyncio.gather(*(self.send(one) for one in many), return_exceptions=True)
        for problem in said:
            if isinstance(problem, BaseException) and not (isinstance(problem, Lost) or isinstance(problem, TrisectError) and problem.kind in LATER):
                raise problem

    async def do_without_key(self, size, chance):
        """Nobody can send it again: it is there or not."""
        one = self.prepare(size, chance, keyed=False)
        del one.params["key"]
        try:
            await self.send(one)
        except Lost:
            one.state = "either"
            raise

    async def do_abandon(self, size, chance):
        """Sent, and gone before the answer; then sent again under its key."""
        one = self.prepare(size, chance)
        one.sending()
        one.state = "sent"
        data = sockets.post(sockets.request(one.method, one.params))
        if chance.random() < 0.4:
            # Gone in the middle of it.
            data = data[: chance.randrange(len(data))]
        try:
            await sockets.exchange(self.service.port, data, 30.0, close_after=True)
        except OSError:
            pass
        self.tally.done["answers not waited for"] += 1

    async def do_refused(self, size, chance):
        """One reading of it cannot be: none is stored."""
        one = self.prepare(min(size, 50), chance)
        wrong = chance.choice([{"point": "no-such-point"}, {"unit": "furlong"}, {"value": 1e9}, {"unit": "K"}, {"uncertainty": -1.0}])
        readings = [dict(reading) for reading in one.params["readings"]]
        readings[chance.randrange(len(readings))].update(wrong)
        try:
            await self.connection.call("reading.submit", bay=self.bay, readings=readings, key=one.key)
        except TrisectError as error:
            one.state = "refused"
            if error.kind in LATER:
                raise
            self.tally.done["refused for one reading"] += 1
        else:
            self.hold("a wrong reading is refused", False, f"{wrong} of {one.key}")

    async def do_key_reused(self, size, chance):
        """Other readings under a key that is known."""
        known = [one for one in self.job.submissions if one.state == "stored" and one.key]
        if not known:
            return
        one = self.prepare(size, chance)
        one.params["key"] = one.key = chance.choice(known[-50:]).key
        one.state = "refused"
        try:
            await self.connection.call(one.method, **one.params)
        except TrisectError as error:
            if error.kind in LATER:
                raise
            self.hold("a known key for others is refused", error.kind == "invalid-value", lambda: f"{error.kind}: {error}")
        else:
            self.hold("a known key for others is refused", False, f"{one.key} was taken")

    async def do_history(self, size, chance):
        await self.history()

    async def do_history_whole(self, size, chance):
        await self.whole_history()

    async def do_show(self, size, chance):
        await self.history()
        self.counts(self.job, await self.shown())

    async def do_verdict(self, size, chance):
        said = await self.connection.call("job.verdict", job=self.job.id)
        self.proven(said)

    async def do_verify(self, size, chance):
        await self.sound(self.job)

    async def do_replay(self, size, chance):
        await self.same(self.job)

    async def do_report(self, size, chance):
        said = await self.connection.call("job.report", job=self.job.id)
        self.hold("a report says something", len(said["text"]) > 20, lambda: said["text"])

    async def do_export(self, size, chance):
        await self.connection.call("job.export", job=self.job.id)

    async def do_closed(self, size, chance):
        await self.look_at_closed(chance)

    async def do_probe(self, size, chance):
        """The meter's lead goes to the battery, or off it."""
        if self.bay not in METERED:
            return
        try:
            if chance.random() < 0.6:
                await self.connection.call("probe.place", bay=self.bay, instrument="meter", channel="0", point="battery")
            else:
                await self.connection.call("probe.lift", bay=self.bay, instrument="meter", channel="0")
        except TrisectError as error:
            if error.kind not in ("unknown-instrument", "unknown-channel", "wrong-quantity"):
                raise
