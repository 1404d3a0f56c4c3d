"""The methods of the service, one by one.

Made from the service's OpenRPC document by generate.py: do not edit.
"""

from __future__ import annotations

from typing import Any, Literal, cast

from .types import *
from .watch import AsyncWatch, Watch


class Methods:
    """Synchronous methods."""

    def _call(self, method: str, params: dict[str, Any]) -> Any:
        raise NotImplementedError

    def _watch(self, method: str, end: str, params: dict[str, Any]) -> Watch[Any]:
        raise NotImplementedError

    def service_about(self) -> About:
        """Name, version, start time, adapters and rule sets of this service."""
        return cast("About", self._call('service.about', {}))

    def bay_list(self) -> Bays:
        """The bays, with phase, drive and open job."""
        return cast("Bays", self._call('bay.list', {}))

    def instrument_list(self, *, bay: str | None = None) -> Instruments:
        """The instruments of one bay or of all, with their state, channels and counters.

        Characters at most: bay 200.
        """
        return cast("Instruments", self._call('instrument.list', {'bay': bay}))

    def instrument_attach(self, *, adapter: str, bay: str, instrument: str, settings: dict[str, Any] | None = None) -> Instrument:
        """Opens an instrument in a bay through an adapter; it reconnects by itself until detached.

        Characters at most: adapter, bay, instrument 200.
        """
        return cast("Instrument", self._call('instrument.attach', {'adapter': adapter, 'bay': bay, 'instrument': instrument, 'settings': settings}))

    def instrument_detach(self, *, bay: str, instrument: str) -> Instrument:
        """Closes an instrument and forgets it; answers its last state.

        Characters at most: bay, instrument 200.
        """
        return cast("Instrument", self._call('instrument.detach', {'bay': bay, 'instrument': instrument}))

    def instrument_probe(self, *, port: str, allow_writing: bool | None = None) -> InstrumentProbed:
        """Opens a port for some seconds and says what speaks there; nothing is written unless it is allowed.

        Characters at most: port 1000.
        """
        return cast("InstrumentProbed", self._call('instrument.probe', {'port': port, 'allow_writing': allow_writing}))

    def port_list(self) -> Ports:
        """The serial ports of the service's machine, each by the path that stays."""
        return cast("Ports", self._call('port.list', {}))

    def calibration_show(self, *, calibration: str) -> Calibration:
        """A calibration that readings name, as it was when they were taken.

        Characters at most: calibration 200.
        """
        return cast("Calibration", self._call('calibration.show', {'calibration': calibration}))

    def probe_place(self, *, bay: str, channel: str, instrument: str, point: str) -> Instrument:
        """Says that a channel now measures at a test point; the point's windows start again.

        Characters at most: bay, channel, instrument, point 200.
        """
        return cast("Instrument", self._call('probe.place', {'bay': bay, 'channel': channel, 'instrument': instrument, 'point': point}))

    def probe_lift(self, *, bay: str, channel: str, instrument: str) -> Instrument:
        """Says that a channel measures nowhere; its samples are readings of no job.

        Characters at most: bay, channel, instrument 200.
        """
        return cast("Instrument", self._call('probe.lift', {'bay': bay, 'channel': channel, 'instrument': instrument}))

    def probe_list(self, *, after_seq: int | None = None, bay: str | None = None, job: str | None = None, limit: int | None = None) -> Placements:
        """Which channel was at which test point of a job, and when.

        Characters at most: bay, job 200.
        """
        return cast("Placements", self._call('probe.list', {'after_seq': after_seq, 'bay': bay, 'job': job, 'limit': limit}))

    def phase_say(self, *, bay: str, drive: Drive | None = None, phase: Phase | None = None) -> Bay:
        """Says the engine's phase, the drive connected, or both; the phase's windows start again.

        Characters at most: bay 200.
        """
        return cast("Bay", self._call('phase.say', {'bay': bay, 'drive': drive, 'phase': phase}))

    def barometer_say(self, *, bay: str, by: str, value: str, uncertainty: str | None = None) -> Bay:
        """Says the barometric pressure, which is taken off absolute pressures.

        Characters at most: bay, by, value, uncertainty 200.
        """
        return cast("Bay", self._call('barometer.say', {'bay': bay, 'by': by, 'value': value, 'uncertainty': uncertainty}))

    def reading_submit(self, *, bay: str, key: str | None = None, readings: list[SubmittedReading] | None = None, senml: list[dict[str, Any]] | None = None) -> ReadingSubmitted:
        """Stores readings, all or none, and answers once they are on disk; the same key twice is stored once.

        Characters at most: bay, key 200.
        """
        return cast("ReadingSubmitted", self._call('reading.submit', {'bay': bay, 'key': key, 'readings': readings, 'senml': senml}))

    def reading_enter(self, *, bay: str, by: str, point: str, value: str, instrument: str | None = None, key: str | None = None, phase: Phase | None = None, uncertainty: str | None = None) -> Reading:
        """Stores one reading a person took, written as they would write it; it stands for the check's whole window; the same key twice is stored once.

        Characters at most: bay, by, point, value, instrument, key, uncertainty 200.
        """
        return cast("Reading", self._call('reading.enter', {'bay': bay, 'by': by, 'point': point, 'value': value, 'instrument': instrument, 'key': key, 'phase': phase, 'uncertainty': uncertainty}))

    def reading_history(self, *, after_seq: int | None = None, bay: str | None = None, channel: str | None = None, format: HistoryFormat | None = None, from_: Time | None = None, instrument: str | None = None, job: str | None = None, limit: int | None = None, outside: bool | None = None, point: str | None = None, quantity: str | None = None, until: Time | None = None) -> Readings:
        """Readings of a job, or of a bay's instruments outside any job, oldest first, a page at a time.

        Characters at most: bay, channel, instrument, job, point, quantity 200.
        """
        return cast("Readings", self._call('reading.history', {'after_seq': after_seq, 'bay': bay, 'channel': channel, 'format': format, 'from': from_, 'instrument': instrument, 'job': job, 'limit': limit, 'outside': outside, 'point': point, 'quantity': quantity, 'until': until}))

    def job_open(self, *, bay: str, machine: str, by: str | None = None, complaint: str | None = None, ruleset: str | None = None) -> Job:
        """Opens a job for a machine in a bay.

        Characters at most: bay, machine, by, complaint, ruleset 200.
        """
        return cast("Job", self._call('job.open', {'bay': bay, 'machine': machine, 'by': by, 'complaint': complaint, 'ruleset': ruleset}))

    def job_list(self, *, bay: str | None = None, before: str | None = None, limit: int | None = None, state: JobState | None = None) -> Jobs:
        """Jobs, newest first.

        Characters at most: bay, before 200.
        """
        return cast("Jobs", self._call('job.list', {'bay': bay, 'before': before, 'limit': limit, 'state': state}))

    def job_show(self, *, job: str, after_seq: int | None = None, limit: int | None = None) -> JobDetail:
        """A job with its answers, a page at a time, and its verdict.

        Characters at most: job 200.
        """
        return cast("JobDetail", self._call('job.show', {'job': job, 'after_seq': after_seq, 'limit': limit}))

    def job_answer(self, *, answer: str, check: str, job: str, by: str | None = None) -> JobVerdict:
        """Stores the answer to an asked check; answers the verdict that includes it.

        Characters at most: answer, check, job, by 200.
        """
        return cast("JobVerdict", self._call('job.answer', {'answer': answer, 'check': check, 'job': job, 'by': by}))

    def job_close(self, *, job: str, confirmed: list[str] | None = None, note: str | None = None) -> Job:
        """Closes a job, and keeps what the machine really had.

        Characters at most: job 200; note 4000.
        """
        return cast("Job", self._call('job.close', {'job': job, 'confirmed': confirmed, 'note': note}))

    def job_verdict(self, *, job: str) -> JobVerdict:
        """The verdict of a job as it stands.

        Characters at most: job 200.
        """
        return cast("JobVerdict", self._call('job.verdict', {'job': job}))

    def job_report(self, *, job: str) -> Report:
        """The job in plain language: what was measured, what it means, what is unproven.

        Characters at most: job 200.
        """
        return cast("Report", self._call('job.report', {'job': job}))

    def job_replay(self, *, job: str, ruleset: str | None = None) -> Replay:
        """Folds the job's recorded events anew, by its own rule set or another one, and compares the verdict with the recorded one.

        Characters at most: job, ruleset 200.
        """
        return cast("Replay", self._call('job.replay', {'job': job, 'ruleset': ruleset}))

    def job_export(self, *, job: str) -> JobExported:
        """The job as a case with its stream: what trying it comes to is the job's verdict.

        Characters at most: job 200.
        """
        return cast("JobExported", self._call('job.export', {'job': job}))

    def job_verify(self, *, job: str) -> JobVerified:
        """Holds a job against its chain of hashes: whether anything of it was altered since it was stored.

        Characters at most: job 200.
        """
        return cast("JobVerified", self._call('job.verify', {'job': job}))

    def ruleset_list(self) -> Rulesets:
        """The rule sets this service can open jobs with."""
        return cast("Rulesets", self._call('ruleset.list', {}))

    def ruleset_show(self, *, ruleset: str) -> Ruleset:
        """A rule set as a front end needs it: test points, checks, suspects, complaints, cautions.

        Characters at most: ruleset 200.
        """
        return cast("Ruleset", self._call('ruleset.show', {'ruleset': ruleset}))

    def ruleset_examine(self, *, text: str, prove: bool | None = None) -> RulesetExamined:
        """Every defect of a rule set's text, with line, column and the way to mend it; what its checks can tell apart; on request, a search that proves its gate.

        Characters at most: text 1048576.
        """
        return cast("RulesetExamined", self._call('ruleset.examine', {'text': text, 'prove': prove}))

    def ruleset_install(self, *, text: str, by: str | None = None) -> RulesetInstalled:
        """Installs a rule set, all or nothing: new jobs use it from then on, open ones keep their own.

        Characters at most: by 200; text 1048576.
        """
        return cast("RulesetInstalled", self._call('ruleset.install', {'text': text, 'by': by}))

    def ruleset_trial(self, *, cases: list[CaseText], ruleset: str | None = None, sensitivity: bool | None = None, text: str | None = None) -> RulesetTried:
        """Runs cases against a rule set and says what differs, what no case reaches and what none would notice.

        Characters at most: ruleset 200; text 1048576.
        """
        return cast("RulesetTried", self._call('ruleset.trial', {'cases': cases, 'ruleset': ruleset, 'sensitivity': sensitivity, 'text': text}))

    def webhook_list(self) -> Webhooks:
        """Who is told what happens, with the deliveries that wait and those given up."""
        return cast("Webhooks", self._call('webhook.list', {}))

    def delivery_list(self, *, after: int | None = None, limit: int | None = None, waiting: bool | None = None, webhook: str | None = None) -> Deliveries:
        """Events that could not be delivered and were given up, or those on their way.

        Characters at most: webhook 200.
        """
        return cast("Deliveries", self._call('delivery.list', {'after': after, 'limit': limit, 'waiting': waiting, 'webhook': webhook}))

    def delivery_resend(self, *, webhook: str, deliveries: list[int] | None = None) -> DeliveriesResent:
        """Puts events that were given up on their way again.

        Characters at most: webhook 200.
        """
        return cast("DeliveriesResent", self._call('delivery.resend', {'webhook': webhook, 'deliveries': deliveries}))

    def audit_list(self, *, before: int | None = None, limit: int | None = None, subject: str | None = None, who: str | None = None) -> AuditTrail:
        """Who did what, newest first.

        Characters at most: subject, who 200.
        """
        return cast("AuditTrail", self._call('audit.list', {'before': before, 'limit': limit, 'subject': subject, 'who': who}))

    def rpc_discover(self) -> OpenRpc:
        """This table as an OpenRPC document."""
        return cast("OpenRpc", self._call('rpc.discover', {}))

    def reading_watch(self, *, bay: str) -> Watch[ReadingItem]:
        """Readings of a bay as they are stored.

        Characters at most: bay 200.
        """
        return self._watch('reading.watch', 'reading.unwatch', {'bay': bay})

    def verdict_watch(self, *, bay: str) -> Watch[VerdictItem]:
        """The verdict of the bay's job: as it stands, then whenever it changes.

        Characters at most: bay 200.
        """
        return self._watch('verdict.watch', 'verdict.unwatch', {'bay': bay})

    def instrument_watch(self, *, bay: str | None = None) -> Watch[InstrumentItem]:
        """Instruments of one bay or of all: as they stand, then whenever one changes state.

        Characters at most: bay 200.
        """
        return self._watch('instrument.watch', 'instrument.unwatch', {'bay': bay})


class AsyncMethods:
    """Asynchronous methods."""

    async def _call(self, method: str, params: dict[str, Any]) -> Any:
        raise NotImplementedError

    def _watch(self, method: str, end: str, params: dict[str, Any]) -> AsyncWatch[Any]:
        raise NotImplementedError

    async def service_about(self) -> About:
        """Name, version, start time, adapters and rule sets of this service."""
        return cast("About", await self._call('service.about', {}))

    async def bay_list(self) -> Bays:
        """The bays, with phase, drive and open job."""
        return cast("Bays", await self._call('bay.list', {}))

    async def instrument_list(self, *, bay: str | None = None) -> Instruments:
        """The instruments of one bay or of all, with their state, channels and counters.

        Characters at most: bay 200.
        """
        return cast("Instruments", await self._call('instrument.list', {'bay': bay}))

    async def instrument_attach(self, *, adapter: str, bay: str, instrument: str, settings: dict[str, Any] | None = None) -> Instrument:
        """Opens an instrument in a bay through an adapter; it reconnects by itself until detached.

        Characters at most: adapter, bay, instrument 200.
        """
        return cast("Instrument", await self._call('instrument.attach', {'adapter': adapter, 'bay': bay, 'instrument': instrument, 'settings': settings}))

    async def instrument_detach(self, *, bay: str, instrument: str) -> Instrument:
        """Closes an instrument and forgets it; answers its last state.

        Characters at most: bay, instrument 200.
        """
        return cast("Instrument", await self._call('instrument.detach', {'bay': bay, 'instrument': instrument}))

    async def instrument_probe(self, *, port: str, allow_writing: bool | None = None) -> InstrumentProbed:
        """Opens a port for some seconds and says what speaks there; nothing is written unless it is allowed.

        Characters at most: port 1000.
        """
        return cast("InstrumentProbed", await self._call('instrument.probe', {'port': port, 'allow_writing': allow_writing}))

    async def port_list(self) -> Ports:
        """The serial ports of the service's machine, each by the path that stays."""
        return cast("Ports", await self._call('port.list', {}))

    async def calibration_show(self, *, calibration: str) -> Calibration:
        """A calibration that readings name, as it was when they were taken.

        Characters at most: calibration 200.
        """
        return cast("Calibration", await self._call('calibration.show', {'calibration': calibration}))

    async def probe_place(self, *, bay: str, channel: str, instrument: str, point: str) -> Instrument:
        """Says that a channel now measures at a test point; the point's windows start again.

        Characters at most: bay, channel, instrument, point 200.
        """
        return cast("Instrument", await self._call('probe.place', {'bay': bay, 'channel': channel, 'instrument': instrument, 'point': point}))

    async def probe_lift(self, *, bay: str, channel: str, instrument: str) -> Instrument:
        """Says that a channel measures nowhere; its samples are readings of no job.

        Characters at most: bay, channel, instrument 200.
        """
        return cast("Instrument", await self._call('probe.lift', {'bay': bay, 'channel': channel, 'instrument': instrument}))

    async def probe_list(self, *, after_seq: int | None = None, bay: str | None = None, job: str | None = None, limit: int | None = None) -> Placements:
        """Which channel was at which test point of a job, and when.

        Characters at most: bay, job 200.
        """
        return cast("Placements", await self._call('probe.list', {'after_seq': after_seq, 'bay': bay, 'job': job, 'limit': limit}))

    async def phase_say(self, *, bay: str, drive: Drive | None = None, phase: Phase | None = None) -> Bay:
        """Says the engine's phase, the drive connected, or both; the phase's windows start again.

        Characters at most: bay 200.
        """
        return cast("Bay", await self._call('phase.say', {'bay': bay, 'drive': drive, 'phase': phase}))

    async def barometer_say(self, *, bay: str, by: str, value: str, uncertainty: str | None = None) -> Bay:
        """Says the barometric pressure, which is taken off absolute pressures.

        Characters at most: bay, by, value, uncertainty 200.
        """
        return cast("Bay", await self._call('barometer.say', {'bay': bay, 'by': by, 'value': value, 'uncertainty': uncertainty}))

    async def reading_submit(self, *, bay: str, key: str | None = None, readings: list[SubmittedReading] | None = None, senml: list[dict[str, Any]] | None = None) -> ReadingSubmitted:
        """Stores readings, all or none, and answers once they are on disk; the same key twice is stored once.

        Characters at most: bay, key 200.
        """
        return cast("ReadingSubmitted", await self._call('reading.submit', {'bay': bay, 'key': key, 'readings': readings, 'senml': senml}))

    async def reading_enter(self, *, bay: str, by: str, point: str, value: str, instrument: str | None = None, key: str | None = None, phase: Phase | None = None, uncertainty: str | None = None) -> Reading:
        """Stores one reading a person took, written as they would write it; it stands for the check's whole window; the same key twice is stored once.

        Characters at most: bay, by, point, value, instrument, key, uncertainty 200.
        """
        return cast("Reading", await self._call('reading.enter', {'bay': bay, 'by': by, 'point': point, 'value': value, 'instrument': instrument, 'key': key, 'phase': phase, 'uncertainty': uncertainty}))

    async def reading_history(self, *, after_seq: int | None = None, bay: str | None = None, channel: str | None = None, format: HistoryFormat | None = None, from_: Time | None = None, instrument: str | None = None, job: str | None = None, limit: int | None = None, outside: bool | None = None, point: str | None = None, quantity: str | None = None, until: Time | None = None) -> Readings:
        """Readings of a job, or of a bay's instruments outside any job, oldest first, a page at a time.

        Characters at most: bay, channel, instrument, job, point, quantity 200.
        """
        return cast("Readings", await self._call('reading.history', {'after_seq': after_seq, 'bay': bay, 'channel': channel, 'format': format, 'from': from_, 'instrument': instrument, 'job': job, 'limit': limit, 'outside': outside, 'point': point, 'quantity': quantity, 'until': until}))

    async def job_open(self, *, bay: str, machine: str, by: str | None = None, complaint: str | None = None, ruleset: str | None = None) -> Job:
        """Opens a job for a machine in a bay.

        Characters at most: bay, machine, by, complaint, ruleset 200.
        """
        return cast("Job", await self._call('job.open', {'bay': bay, 'machine': machine, 'by': by, 'complaint': complaint, 'ruleset': ruleset}))

    async def job_list(self, *, bay: str | None = None, before: str | None = None, limit: int | None = None, state: JobState | None = None) -> Jobs:
        """Jobs, newest first.

        Characters at most: bay, before 200.
        """
        return cast("Jobs", await self._call('job.list', {'bay': bay, 'before': before, 'limit': limit, 'state': state}))

    async def job_show(self, *, job: str, after_seq: int | None = None, limit: int | None = None) -> JobDetail:
        """A job with its answers, a page at a time, and its verdict.

        Characters at most: job 200.
        """
        return cast("JobDetail", await self._call('job.show', {'job': job, 'after_seq': after_seq, 'limit': limit}))

    async def job_answer(self, *, answer: str, check: str, job: str, by: str | None = None) -> JobVerdict:
        """Stores the answer to an asked check; answers the verdict that includes it.

        Characters at most: answer, check, job, by 200.
        """
        return cast("JobVerdict", await self._call('job.answer', {'answer': answer, 'check': check, 'job': job, 'by': by}))

    async def job_close(self, *, job: str, confirmed: list[str] | None = None, note: str | None = None) -> Job:
        """Closes a job, and keeps what the machine really had.

        Characters at most: job 200; note 4000.
        """
        return cast("Job", await self._call('job.close', {'job': job, 'confirmed': confirmed, 'note': note}))

    async def job_verdict(self, *, job: str) -> JobVerdict:
        """The verdict of a job as it stands.

        Characters at most: job 200.
        """
        return cast("JobVerdict", await self._call('job.verdict', {'job': job}))

    async def job_report(self, *, job: str) -> Report:
        """The job in plain language: what was measured, what it means, what is unproven.

        Characters at most: job 200.
        """
        return cast("Report", await self._call('job.report', {'job': job}))

    async def job_replay(self, *, job: str, ruleset: str | None = None) -> Replay:
        """Folds the job's recorded events anew, by its own rule set or another one, and compares the verdict with the recorded one.

        Characters at most: job, ruleset 200.
        """
        return cast("Replay", await self._call('job.replay', {'job': job, 'ruleset': ruleset}))

    async def job_export(self, *, job: str) -> JobExported:
        """The job as a case with its stream: what trying it comes to is the job's verdict.

        Characters at most: job 200.
        """
        return cast("JobExported", await self._call('job.export', {'job': job}))

    async def job_verify(self, *, job: str) -> JobVerified:
        """Holds a job against its chain of hashes: whether anything of it was altered since it was stored.

        Characters at most: job 200.
        """
        return cast("JobVerified", await self._call('job.verify', {'job': job}))

    async def ruleset_list(self) -> Rulesets:
        """The rule sets this service can open jobs with."""
        return cast("Rulesets", await self._call('ruleset.list', {}))

    async def ruleset_show(self, *, ruleset: str) -> Ruleset:
        """A rule set as a front end needs it: test points, checks, suspects, complaints, cautions.

        Characters at most: ruleset 200.
        """
        return cast("Ruleset", await self._call('ruleset.show', {'ruleset': ruleset}))

    async def ruleset_examine(self, *, text: str, prove: bool | None = None) -> RulesetExamined:
        """Every defect of a rule set's text, with line, column and the way to mend it; what its checks can tell apart; on request, a search that proves its gate.

        Characters at most: text 1048576.
        """
        return cast("RulesetExamined", await self._call('ruleset.examine', {'text': text, 'prove': prove}))

    async def ruleset_install(self, *, text: str, by: str | None = None) -> RulesetInstalled:
        """Installs a rule set, all or nothing: new jobs use it from then on, open ones keep their own.

        Characters at most: by 200; text 1048576.
        """
        return cast("RulesetInstalled", await self._call('ruleset.install', {'text': text, 'by': by}))

    async def ruleset_trial(self, *, cases: list[CaseText], ruleset: str | None = None, sensitivity: bool | None = None, text: str | None = None) -> RulesetTried:
        """Runs cases against a rule set and says what differs, what no case reaches and what none would notice.

        Characters at most: ruleset 200; text 1048576.
        """
        return cast("RulesetTried", await self._call('ruleset.trial', {'cases': cases, 'ruleset': ruleset, 'sensitivity': sensitivity, 'text': text}))

    async def webhook_list(self) -> Webhooks:
        """Who is told what happens, with the deliveries that wait and those given up."""
        return cast("Webhooks", await self._call('webhook.list', {}))

    async def delivery_list(self, *, after: int | None = None, limit: int | None = None, waiting: bool | None = None, webhook: str | None = None) -> Deliveries:
        """Events that could not be delivered and were given up, or those on their way.

        Characters at most: webhook 200.
        """
        return cast("Deliveries", await self._call('delivery.list', {'after': after, 'limit': limit, 'waiting': waiting, 'webhook': webhook}))

    async def delivery_resend(self, *, webhook: str, deliveries: list[int] | None = None) -> DeliveriesResent:
        """Puts events that were given up on their way again.

        Characters at most: webhook 200.
        """
        return cast("DeliveriesResent", await self._call('delivery.resend', {'webhook': webhook, 'deliveries': deliveries}))

    async def audit_list(self, *, before: int | None = None, limit: int | None = None, subject: str | None = None, who: str | None = None) -> AuditTrail:
        """Who did what, newest first.

        Characters at most: subject, who 200.
        """
        return cast("AuditTrail", await self._call('audit.list', {'before': before, 'limit': limit, 'subject': subject, 'who': who}))

    async def rpc_discover(self) -> OpenRpc:
        """This table as an OpenRPC document."""
        return cast("OpenRpc", await self._call('rpc.discover', {}))

    def reading_watch(self, *, bay: str) -> AsyncWatch[ReadingItem]:
        """Readings of a bay as they are stored.

        Characters at most: bay 200.
        """
        return self._watch('reading.watch', 'reading.unwatch', {'bay': bay})

    def verdict_watch(self, *, bay: str) -> AsyncWatch[VerdictItem]:
        """The verdict of the bay's job: as it stands, then whenever it changes.

        Characters at most: bay 200.
        """
        return self._watch('verdict.watch', 'verdict.unwatch', {'bay': bay})

    def instrument_watch(self, *, bay: str | None = None) -> AsyncWatch[InstrumentItem]:
        """Instruments of one bay or of all: as they stand, then whenever one changes state.

        Characters at most: bay 200.
        """
        return self._watch('instrument.watch', 'instrument.unwatch', {'bay': bay})
