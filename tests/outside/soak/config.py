"""Configurations: the one a soak begins with, and what reloads make of it."""

from random import Random

from plan import BAYS, METERED, REMOVED

# What may be wrong in a configuration: each is refused whole.
MISTAKES = [
    'colour = "red"\n',
    "listen = 7474\n",
    '[[bays]]\nbay = "bay-1"\n',
    '[[bays]]\nbay = "Bay 9"\n',
    '[tls]\nlisten = "127.0.0.1:0"\ncertificate = "/nonexistent/c.pem"\nkey = "/nonexistent/k.pem"\n',
    "[[bays]\n",
    '[[bays]]\nbay = "bay-9"\nruleset = "no-such-rules"\n',
    '[[bays]]\nbay = "bay-9"\n[[bays.instruments]]\ninstrument = "meter"\nadapter = "multimetre"\n',
    '[[bays]]\nbay = "bay-9"\n[bays.barometer]\nvalue = "high"\nuncertainty = "10 hPa"\n',
]


class Configuration:
    """What the file says; changed by reloads, and kept over restarts."""

    def __init__(self, service, tokens, webhook, ports):
        self.service, self.tokens, self.webhook, self.ports = service, tokens, webhook, ports
        self.revision, self.queued, self.keep, self.retry = 0, 1024, 7, 1
        self.removed, self.without_meter, self.barometer = set(), set(), {}

    def title(self, bay):
        return f"Northmoor Roads Depot, {bay}, revision {self.revision}"

    def text(self):
        service = self.service
        said = f"""listen = "127.0.0.1:{service.port}"
journal = "{service.journal}"
token_file = "{self.tokens}"
[access]
loopback = "manage"
calls_per_second = 100000.0
[limits]
connections = 512
queued_messages = {self.queued}
stop_within = "{service.stop_within:.0f} s"
[keep]
outside_jobs = "{self.keep} days"
"""
        if self.webhook:
            said += f"""[[webhooks]]
webhook = "soak"
url = "{self.webhook.url}"
secret_file = "{self.webhook.secret_file}"
about = ["job"]
allow = ["loopback"]
retries = [{", ".join(["1"] * (20 + self.retry))}]
"""
        for bay in BAYS:
            if bay in self.removed:
                continue
            said += f'[[bays]]\nbay = "{bay}"\ntitle = "{self.title(bay)}"\n'
            if bay in self.barometer:
                said += f'[bays.barometer]\nvalue = "{self.barometer[bay]} hPa"\nuncertainty = "10 hPa"\n'
            if bay in METERED and bay not in self.without_meter and bay in self.ports:
                port = self.ports[bay].name
                settings = f'{{ port = "{port}", protocol = "fs9922", accuracy = {{ voltage = "0.5 % rdg + 3 dgt" }} }}'
                said += f'[[bays.instruments]]\ninstrument = "meter"\nadapter = "multimeter"\nsettings = {settings}\n'
        return said

    def write(self, more=""):
        """In one step, as an editor does."""
        new = self.service.config.with_suffix(".new")
        new.write_text(more + self.text() if more.startswith(("colour", "listen")) else self.text() + more)
        new.rename(self.service.config)

    def change(self, variant):
        """What a reload changes without the listening side."""
        chance = Random(variant)
        self.revision += 1
        for bay in METERED:
            if chance.random() < 0.3:
                self.without_meter ^= {bay}
        for bay in BAYS:
            if chance.random() < 0.2:
                self.barometer[bay] = chance.randint(960, 1040)
        self.keep = chance.choice([7, 7, 14, 30])
        self.retry = chance.randint(0, 3)

    def change_front(self, variant):
        """A limit: the listening side is exchanged."""
        self.revision += 1
        self.queued = 200 + variant % 1000 + (variant % 1000 == self.queued - 200)

    def mistake(self, variant):
        return MISTAKES[variant % len(MISTAKES)]

    def remove_bay(self):
        self.revision += 1
        self.removed = {REMOVED}

    def give_back(self):
        self.revision += 1
        self.removed = set()
