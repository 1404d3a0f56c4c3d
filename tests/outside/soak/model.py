"""What was sent and acknowledged, and what the service has to have of it."""

from itertools import count

# A reading is told from every other by its point and its value, in millionths of the unit.
GRAIN = 1_000_000
moments = count()


class Submission:
    """Readings that are stored all or not at all. Its state: `new`, `sent` (not answered: it may be there), `stored`
    (acknowledged), `refused` (it must not be there), `either` (sent without a key, or refused when sent again)."""

    def __init__(self, key, rows, ordered=True):
        self.key, self.rows, self.ordered = key, rows, ordered
        self.state = "new"
        self.sent = self.acknowledged = None
        self.found = 0

    def sending(self):
        if self.sent is None:
            self.sent = next(moments)

    def stored(self):
        self.state = "stored"
        if self.acknowledged is None:
            self.acknowledged = next(moments)

    def refusal(self):
        """Refused: nothing of it is stored, unless an earlier sending of it was not answered."""
        if self.state == "new":
            self.state = "refused"


class Job:
    """A job of one bay, which only that bay's worker writes to."""

    def __init__(self, number, plan):
        self.number, self.plan = number, plan
        self.id = None
        self.actions = 0
        self.submissions = []
        self.of = {}
        self.answers = []
        self.last_seq = 0
        self.readings = self.measured = 0
        self.newest = 0.0
        self.order = []
        self.closed = None

    def submission(self, key, rows, ordered=True):
        made = Submission(key, rows, ordered)
        for index, (point, value) in enumerate(rows):
            self.of[point, round(value * GRAIN)] = (made, index)
        self.submissions.append(made)
        return made

    def unanswered(self):
        return [one for one in self.submissions[-40:] if one.state == "sent"]

    def acknowledged(self):
        return sum(len(one.rows) for one in self.submissions if one.state == "stored")

    def anew(self):
        """Forgets what was found, to look at everything again."""
        self.last_seq = self.readings = self.measured = 0
        self.newest = 0.0
        self.order = []
        for one in self.submissions:
            one.found = 0

    def take(self, entries, hold):
        """Holds a page of the history, the next after those taken before, against what was sent."""
        for entry in entries:
            self.readings += 1
            hold("places in the journal rise", entry["seq"] > self.last_seq, lambda: f"{entry['seq']} after {self.last_seq}")
            self.last_seq = entry["seq"]
            if entry.get("instrument") is not None:
                self.measured += 1
                continue
            found = self.of.get((entry["point"], round(entry["value"] * GRAIN)))
            hold("what is stored was sent", found is not None, lambda: f"nobody sent {entry}")
            made, index = found
            # The next of its submission, and directly behind the one before.
            hold("a reading is stored once, in order", index == made.found, lambda: f"{entry}: number {index} after {made.found} of {made.key}")
            if index:
                whole = self.order[-1] is made and entry["seq"] == self.place + 1
                hold("a submission lies together", whole, lambda: f"{entry} of {made.key}")
            else:
                self.order.append(made)
            self.place = entry["seq"]
            made.found += 1
            if made.ordered:
                hold("a job's time goes on", entry["at"] >= self.newest, lambda: f"{entry['at']} after {self.newest}: {entry}")
                self.newest = entry["at"]

    def settle(self, hold):
        """After the last page: whole or not there, as was said."""
        for one in self.submissions:
            size = len(one.rows)
            hold("a submission is stored whole", one.found in (0, size), lambda: f"{one.found} of {size} of {one.key} ({one.state})")
            if one.state == "stored":
                hold("an acknowledged reading is there", one.found == size, lambda: f"{one.key} is not there")
            if one.state in ("new", "refused"):
                hold("a refused reading is not there", one.found == 0, lambda: f"{one.key} was refused and is there")
            if one.state == "either" and one.found == size:
                one.stored()
        latest = -1
        for one in self.order:
            # Nothing lies behind what was sent after its acknowledgement.
            if one.acknowledged is not None:
                hold("the order of acknowledgements is kept", one.acknowledged > latest, lambda: f"{one.key} lies behind what came later")
            latest = max(latest, one.sent)

    def answered(self, stored, hold):
        """Holds the stored answers against those given; one that was not answered is there or is not."""
        said = [(one["check"], one["answer"]) for one in stored]
        given = [(check, answer) for check, answer, _ in self.answers]
        sure = [(check, answer) for check, answer, state in self.answers if state == "stored"]
        hold("an acknowledged answer is there", said in (given, sure), lambda: f"{said[-5:]} ({len(said)}) for {given[-5:]} ({len(given)})")
        if said == given:
            self.answers = [(check, answer, "stored") for check, answer in given]
        else:
            self.answers = [one for one in self.answers if one[2] == "stored"]
