"""What travels: parameters, results and items.

Made from the service's OpenRPC document by generate.py: do not edit.
"""

from typing import Any, Literal, NotRequired, TypeAlias, TypedDict

# What this service is.
class About(TypedDict):
    adapters: "list[AboutAdapter]"
    name: "str"
    rulesets: "list[RulesetName]"
    started: "Time"
    version: "str"

# An adapter and what it asks for.
class AboutAdapter(TypedDict):
    adapter: "str"
    settings: "dict[str, Any]"
    title: "str"

# An answer to an asked check.
class AnswerGiven(TypedDict):
    answer: "str"
    by: "NotRequired[str | None]"
    check: "str"
    seq: "int"
    time: "Time"

# Names the instrument that has a port.
class AttachedTo(TypedDict):
    bay: "str"
    instrument: "str"

# Something that was done, or a run of things alike within a second.
class AuditEntry(TypedDict):
    count: "int"
    outcome: "str"
    peer: "str | None"
    seq: "int"
    subject: "str | None"
    time: "Time"
    until: "Time"
    what: "str"
    who: "str"

# A page of the audit trail, newest first.
class AuditTrail(TypedDict):
    entries: "list[AuditEntry]"
    more: "bool"

# The pressure of the air in a bay.
Barometer = TypedDict('Barometer', {'from': "str", 'stale': "bool", 'time': "NotRequired[Time | None]", 'uncertainty': "float", 'unit': "str", 'value': "float"})

# A bay as it stands.
class Bay(TypedDict):
    barometer: "NotRequired[Barometer | None]"
    bay: "str"
    drive: "Drive | None"
    instruments: "list[str]"
    job: "str | None"
    phase: "Phase | None"
    title: "str"

# All bays.
class Bays(TypedDict):
    bays: "list[Bay]"

# On which side of `value` the true value lies, when the instrument was driven out of its range.
Beyond: TypeAlias = "Literal['above'] | Literal['below']"

# One value for each side.
class BySide(TypedDict):
    controller: "float"
    outside: "float"
    pump: "float"
    supply: "float"

# One value for each side.
class BySide2(TypedDict):
    controller: "float | None"
    outside: "float | None"
    pump: "float | None"
    supply: "float | None"

# A calibration as it was when readings named it. All values are in its unit.
class Calibration(TypedDict):
    by: "NotRequired[str | None]"
    calibration: "str"
    certificate: "NotRequired[str | None]"
    degrees_of_freedom: "int"
    due: "NotRequired[str | None]"
    kind: "CalibrationKind"
    points: "list[list[float]]"
    quantity: "str"
    residual: "float"
    uncertainty: "NotRequired[float | None]"
    unit: "str"

# How a correction depends on what is shown.
CalibrationKind: TypeAlias = "Literal['offset'] | Literal['line'] | Literal['table']"

# A case as text.
class CaseText(TypedDict):
    name: "str"  # at most 1000 characters
    stream: "NotRequired[str | None]"  # at most 4194304 characters
    text: "str"  # at most 4194304 characters

# What came of a case.
class CaseTried(TypedDict):
    differences: "list[Difference]"
    name: "str"
    ok: "bool"
    title: "str"
    verdict: "Verdict"

# A caution.
class CautionShown(TypedDict):
    id: "str"
    text: "str"

# A channel of an instrument.
class Channel(TypedDict):
    calibrations: "NotRequired[list[ChannelCalibration]]"
    channel: "str"
    latency: "NotRequired[float | None]"
    point: "str | None"
    quantity: "NotRequired[str | None]"
    reference: "NotRequired[PressureReference | None]"
    title: "str"

# A calibration in use on a channel.
class ChannelCalibration(TypedDict):
    by: "NotRequired[str | None]"
    calibration: "str"
    certificate: "NotRequired[str | None]"
    degrees_of_freedom: "int"
    due: "NotRequired[str | None]"
    function: "NotRequired[str | None]"
    kind: "CalibrationKind"
    overdue: "bool"
    points: "list[list[float]]"
    quantity: "str"
    residual: "float"
    uncertainty: "NotRequired[float | None]"
    unit: "str"

# A check.
CheckShownObject: TypeAlias = dict[str, Any]

CheckShown: TypeAlias = "CheckShownObject"

# What the complaint contributes.
class ComplaintEvidence(TypedDict):
    decibans: "BySide2"
    id: "str"

# A complaint.
class ComplaintShown(TypedDict):
    id: "str"
    title: "str"

# Counts since an instrument was attached.
class Counters(TypedDict):
    bad_frames: "int"
    refused_samples: "NotRequired[int]"
    samples: "int"
    skipped_bytes: "int"

# What a set of cases reaches of a rule set.
class Coverage(TypedDict):
    answers: "Reached"
    complaints: "Reached"
    limits: "Reached"
    outcomes: "Reached"
    proofs: "Reached"
    suspects: "Reached"

# One time that the engine was cranked, and what was read then.
class Crank(TypedDict):
    at: "float"
    battery_minimum: "NotRequired[float | None]"
    built_5_psi_after: "NotRequired[float | None]"
    cranking_speed: "NotRequired[float | None]"
    lowest_inlet_pressure: "NotRequired[float | None]"
    number: "int"
    seconds: "float"

# A defect of a rule set or a case.
class Defect(TypedDict):
    column: "int"
    hint: "str"
    kind: "str"
    line: "int"
    message: "str"
    severity: "Severity"

# A page of deliveries.
class Deliveries(TypedDict):
    deliveries: "list[Delivery]"
    more: "bool"

# Deliveries put on their way again.
class DeliveriesResent(TypedDict):
    deliveries: "int"

# An event on its way to a webhook.
class Delivery(TypedDict):
    attempts: "int"
    delivery: "int"
    due: "NotRequired[Time | None]"
    event: "str"
    id: "str"
    note: "NotRequired[str | None]"
    posted: "Time"
    subject: "str"
    webhook: "str"

# One thing that comes out otherwise.
class Difference(TypedDict):
    expected: "str"
    found: "str"
    what: "str"

# What commands the pump.
Drive: TypeAlias = "Literal['harness'] | Literal['bypass']"

# Why a request was refused. The word on the wire is stable; so is the code.
#
# Codes below −32000 are those of JSON-RPC 2.0; the others are this service's own
# and lie outside the range the specification reserves.
ErrorKind: TypeAlias = "Literal['broken-json'] | Literal['invalid-request'] | Literal['unknown-method'] | Literal['invalid-params'] | Literal['internal'] | Literal['unknown-bay'] | Literal['unknown-instrument'] | Literal['unknown-channel'] | Literal['unknown-point'] | Literal['unknown-check'] | Literal['unknown-answer'] | Literal['unknown-job'] | Literal['unknown-ruleset'] | Literal['unknown-complaint'] | Literal['unknown-suspect'] | Literal['unknown-unit'] | Literal['unknown-adapter'] | Literal['unknown-calibration'] | Literal['invalid-value'] | Literal['wrong-quantity'] | Literal['implausible-value'] | Literal['invalid-time'] | Literal['invalid-settings'] | Literal['port-refused'] | Literal['defective-ruleset'] | Literal['defective-case'] | Literal['no-open-job'] | Literal['bay-busy'] | Literal['job-closed'] | Literal['no-barometer'] | Literal['too-large'] | Literal['too-busy'] | Literal['storage'] | Literal['ended'] | Literal['not-permitted'] | Literal['host-refused'] | Literal['origin-refused'] | Literal['plugin-failed'] | Literal['unknown-webhook'] | Literal['token-missing'] | Literal['token-refused'] | Literal['rate-limited']"

# What one check contributes.
class Evidence(TypedDict):
    answer: "NotRequired[str | None]"
    bound: "NotRequired[Beyond | None]"
    check: "str"
    conformance: "NotRequired[float | None]"
    decibans: "BySide2"
    limit: "NotRequired[str | None]"
    line: "NotRequired[SpectralLine | None]"
    outcome: "Outcome"
    readings: "NotRequired[int | None]"
    reason: "NotRequired[str | None]"
    uncertainty: "NotRequired[float | None]"
    unit: "NotRequired[str | None]"
    value: "NotRequired[float | None]"

# How `reading.history` tells readings.
HistoryFormat: TypeAlias = "Literal['readings'] | Literal['senml']"

# An instrument as it stands.
class Instrument(TypedDict):
    adapter: "str"
    age: "NotRequired[float | None]"
    bay: "str"
    channels: "list[Channel]"
    counters: "Counters"
    identity: "NotRequired[str | None]"
    instrument: "str"
    last_sample: "NotRequired[Time | None]"
    note: "NotRequired[str | None]"
    noted: "NotRequired[Time | None]"
    port: "NotRequired[str | None]"
    since: "Time"
    state: "InstrumentState"

# What `instrument.watch` tells.
# An instrument was attached or changed, or this is how it stands.
class InstrumentItemInstrument(Instrument):
    kind: "Literal['instrument']"

# An instrument was detached.
class InstrumentItemDetached(TypedDict):
    bay: "str"
    instrument: "str"
    kind: "Literal['detached']"

# Items were missed.
class InstrumentItemGap(TypedDict):
    kind: "Literal['gap']"
    missed: "int"

InstrumentItem: TypeAlias = "InstrumentItemInstrument | InstrumentItemDetached | InstrumentItemGap"

# What speaks on a port.
class InstrumentProbed(TypedDict):
    bytes: "int"
    findings: "list[ProbeFinding]"
    note: "str"
    port: "str"

# How an instrument is doing.
InstrumentState: TypeAlias = "Literal['starting'] | Literal['running'] | Literal['silent'] | Literal['stopped']"

# Instruments.
class Instruments(TypedDict):
    instruments: "list[Instrument]"

# Fractions of the detected faults, by what they are isolated to.
class IsolatedFractions(TypedDict):
    to_1: "float"
    to_2: "float"
    to_3: "float"
    to_side: "float"

# A job.
class Job(TypedDict):
    bay: "str"
    by: "NotRequired[str | None]"
    closed: "NotRequired[Time | None]"
    complaint: "str | None"
    confirmed: "NotRequired[list[str] | None]"
    job: "str"
    machine: "str"
    note: "NotRequired[str | None]"
    opened: "Time"
    ruleset: "RulesetDigest"
    state: "JobState"

# A job with its answers and verdict.
class JobDetail(TypedDict):
    answers: "list[AnswerGiven]"
    bay: "str"
    by: "NotRequired[str | None]"
    closed: "NotRequired[Time | None]"
    complaint: "str | None"
    confirmed: "NotRequired[list[str] | None]"
    job: "str"
    machine: "str"
    more: "NotRequired[bool]"
    note: "NotRequired[str | None]"
    opened: "Time"
    readings: "int"
    ruleset: "RulesetDigest"
    state: "JobState"
    verdict: "Verdict"

# A job as a case.
class JobExported(TypedDict):
    case: "str"
    job: "str"
    same: "bool"
    stream: "str | None"
    stream_name: "str"

# Whether a job still takes readings.
JobState: TypeAlias = "Literal['open'] | Literal['closed']"

# A verdict of a job at a time.
class JobVerdict(TypedDict):
    also: "list[Side]"
    bay: "str"
    complaint: "NotRequired[ComplaintEvidence | None]"
    conflict: "float | None"
    crank: "NotRequired[Crank | None]"
    evidence: "list[Evidence]"
    job: "str"
    missing: "list[Missing]"
    named: "str | None"
    next: "list[NextTest]"
    phase: "Phase"
    ruleset: "RulesetDigest"
    seq: "int"
    side: "Side | None"
    sides: "BySide"
    standing: "Standing"
    suspects: "list[SuspectBelief]"
    text: "str"
    time: "Time"

# A job held against its chain of hashes.
class JobVerified(TypedDict):
    chained_after: "int | None"
    digest: "str"
    events: "int"
    findings: "list[str]"
    job: "str"
    sound: "bool"

# A page of jobs.
class Jobs(TypedDict):
    jobs: "list[Job]"
    more: "bool"
    next: "NotRequired[str | None]"
    unreadable: "NotRequired[list[str]]"

# Events that another rule set has no place for.
class LeftOut(TypedDict):
    events: "int"
    id: "str"
    what: "str"

# What is missing from a proof.
class Missing(TypedDict):
    any_failed: "list[str]"
    any_passed: "list[str]"
    because: "NotRequired[str | None]"
    failed: "list[str]"
    measured_failed: "list[str]"
    passed: "list[str]"
    side: "Side"
    suspect: "NotRequired[str | None]"

# What was searched for one side, or for a suspect with a proof of its own.
class Naming(TypedDict):
    checks: "int"
    combinations: "float"
    diagnosed: "int"
    highest_belief: "float"
    open: "int"
    searched: "int"
    shortest: "NotRequired[ShortestTests | None]"
    side: "Side"
    suspect: "NotRequired[str | None]"
    tried: "int"
    unproven: "list[list[Stated]]"
    withheld: "list[list[Stated]]"

# A test worth doing.
class NextTest(TypedDict):
    advances_proof: "bool"
    bits: "float"
    bits_per_minute: "float"
    cautions: "list[str]"
    check: "str"
    completes_proof: "bool"
    first: "NotRequired[list[str]]"
    minutes: "float"
    title: "str"
    why: "str"

# An OpenRPC document.
OpenRpc: TypeAlias = "dict[str, Any]"

# What came of a check.
Outcome: TypeAlias = "Literal['passed'] | Literal['failed'] | Literal['undecided'] | Literal['void']"

# A reading outside any job: of an instrument and a quantity, as no rule set says of which point.
class OutsideReading(TypedDict):
    barometer: "NotRequired[float | None]"
    bay: "str"
    beyond: "NotRequired[Beyond | None]"
    calibration: "NotRequired[str | None]"
    channel: "str"
    flags: "NotRequired[list[str]]"
    instrument: "str"
    latency: "NotRequired[float | None]"
    quantity: "str"
    seq: "int"
    time: "Time"
    uncertainty: "float"
    unit: "str"
    value: "float"

# What the engine is doing.
Phase: TypeAlias = "Literal['off'] | Literal['key-on'] | Literal['cranking'] | Literal['idle'] | Literal['high-idle'] | Literal['loaded'] | Literal['stopping']"

# A channel at a test point, for a time.
Placement = TypedDict('Placement', {'channel': "str", 'from': "Time", 'instrument': "str", 'point': "str", 'seq': "int", 'until': "NotRequired[Time | None]"})

# A page of the placements of a job.
class Placements(TypedDict):
    more: "bool"
    placements: "list[Placement]"

# A serial port.
class Port(TypedDict):
    attached: "NotRequired[AttachedTo | None]"
    node: "str"
    port: "str"

# Serial ports of the machine that the service runs on.
class Ports(TypedDict):
    ports: "list[Port]"

# What a pressure counts from.
PressureReference: TypeAlias = "Literal['gauge'] | Literal['absolute'] | Literal['barometric']"

# Something that was understood on a port.
class ProbeFinding(TypedDict):
    adapter: "str"
    asked: "bool"
    bad: "int"
    good: "int"
    line: "str"
    protocol: "str"
    said: "NotRequired[str | None]"
    settings: "dict[str, Any]"
    share: "float"
    title: "str"

# What was searched for a side that is named without its proof.
class Proving(TypedDict):
    combinations: "int"
    named: "list[Naming]"
    proven: "bool"

# How many of one kind were reached.
class Reached(TypedDict):
    all: "int"
    reached: "int"
    unreached: "list[str]"

# A reading as it was stored.
class Reading(TypedDict):
    at: "float"
    barometer: "NotRequired[float | None]"
    bay: "str"
    beyond: "NotRequired[Beyond | None]"
    by: "NotRequired[str | None]"
    calibration: "NotRequired[str | None]"
    channel: "NotRequired[str | None]"
    entered: "bool"
    flags: "NotRequired[list[str]]"
    instrument: "NotRequired[str | None]"
    job: "str"
    latency: "NotRequired[float | None]"
    point: "str"
    repeated: "NotRequired[bool]"
    seq: "int"
    time: "Time"
    uncertainty: "float"
    unit: "str"
    value: "float"

# What `reading.watch` tells.
# A reading was stored.
class ReadingItemReading(Reading):
    kind: "Literal['reading']"

# Items were missed.
class ReadingItemGap(TypedDict):
    kind: "Literal['gap']"
    missed: "int"

ReadingItem: TypeAlias = "ReadingItemReading | ReadingItemGap"

# The answer to `reading.submit`: everything is on disk.
class ReadingSubmitted(TypedDict):
    accepted: "int"
    repeated: "bool"

# A page of readings.
class Readings(TypedDict):
    last_seq: "NotRequired[int | None]"
    more: "bool"
    outside: "NotRequired[list[OutsideReading] | None]"
    readings: "list[Reading]"
    senml: "NotRequired[list[dict[str, Any]] | None]"

# A job's verdict folded anew.
class Replay(TypedDict):
    differences: "list[Difference]"
    job: "str"
    left_out: "list[LeftOut]"
    recorded: "Verdict"
    replayed: "Verdict"
    same: "bool"

# A job in plain language.
class Report(TypedDict):
    job: "str"
    text: "str"
    verdict: "JobVerdict"

# A rule set as a front end needs it.
class Ruleset(TypedDict):
    cautions: "list[CautionShown]"
    checks: "list[CheckShown]"
    complaints: "list[ComplaintShown]"
    digest: "str"
    id: "str"
    suspects: "list[SuspectShown]"
    test_points: "list[TestPointShown]"
    title: "str"
    version: "str"

# Which rule set, exactly.
class RulesetDigest(TypedDict):
    digest: "str"
    id: "str"
    version: "str"

# What an examination found.
class RulesetExamined(TypedDict):
    defects: "list[Defect]"
    ok: "bool"
    proving: "NotRequired[Proving | None]"
    testability: "Testability | None"

# A rule set that was installed.
class RulesetInstalled(TypedDict):
    before: "str | None"
    defects: "list[Defect]"
    digest: "str"
    id: "str"
    version: "str"

# Names a rule set.
class RulesetName(TypedDict):
    ruleset: "str"  # at most 200 characters

# Where a rule set comes from.
RulesetOrigin: TypeAlias = "Literal['shipped'] | Literal['file'] | Literal['installed']"

# A rule set in a list.
class RulesetSummary(TypedDict):
    current: "bool"
    digest: "str"
    id: "str"
    installed: "NotRequired[Time | None]"
    origin: "NotRequired[RulesetOrigin | None]"
    title: "str"
    version: "str"

# What came of a trial.
class RulesetTried(TypedDict):
    cases: "list[CaseTried]"
    coverage: "Coverage"
    ok: "bool"
    ruleset: "RulesetDigest"
    sensitivity: "list[Slack]"

# Rule sets.
class Rulesets(TypedDict):
    rulesets: "list[RulesetSummary]"

# How bad a defect is.
Severity: TypeAlias = "Literal['error'] | Literal['warning']"

# A set of tests that names a side or a suspect.
class ShortestTests(TypedDict):
    belief: "float"
    exact: "bool"
    minutes: "float"
    tests: "list[Stated]"

# A side of the machine that can be at fault.
Side: TypeAlias = "Literal['supply'] | Literal['controller'] | Literal['pump'] | Literal['outside']"

# A change that no case notices.
class Slack(TypedDict):
    change: "str"
    check: "NotRequired[str | None]"
    end: "NotRequired[str | None]"
    kind: "str"
    of: "NotRequired[str | None]"
    proof: "NotRequired[str | None]"
    suspect: "NotRequired[str | None]"

# The line that stands out of the spectrum of a ripple's newest window.
class SpectralLine(TypedDict):
    amplitude: "float"
    frequency: "float"

# How far a verdict goes.
Standing: TypeAlias = "Literal['isolated'] | Literal['leaning'] | Literal['open'] | Literal['contradicted']"

# What has to come of a check.
class Stated(TypedDict):
    answer: "NotRequired[str | None]"
    check: "str"
    outcome: "Outcome"

# One reading of a submission.
class SubmittedReading(TypedDict):
    beyond: "NotRequired[Beyond | None]"
    point: "str"  # at most 200 characters
    time: "NotRequired[Time | None]"
    uncertainty: "NotRequired[float | None]"
    unit: "str"  # at most 200 characters
    value: "float"

# How probable a suspect is.
class SuspectBelief(TypedDict):
    id: "str"
    probability: "float"
    side: "Side"

# A suspect.
class SuspectShown(TypedDict):
    id: "str"
    remedy: "NotRequired[str | None]"
    side: "Side"
    title: "str"

# A test point, measured or derived.
class TestPointShown(TypedDict):
    id: "str"
    minus: "NotRequired[list[str] | None]"
    plausible: "NotRequired[list[float] | None]"
    quantity: "str"
    title: "str"
    unit: "str"

# What the checks of a rule set can tell apart, after IEEE 1522; faults weighted by their shares.
class Testability(TypedDict):
    ambiguity_groups: "list[list[str]]"
    checks_that_decide_nothing: "list[str]"
    detected: "float"
    isolated: "IsolatedFractions"
    sides_that_cannot_be_proven: "list[Side]"
    undetected: "list[str]"

# A moment: RFC 3339 in UTC, such as `2026-11-24T07:31:05.250Z`.
Time: TypeAlias = "str"

# What the events of a job say.
class Verdict(TypedDict):
    also: "list[Side]"
    complaint: "NotRequired[ComplaintEvidence | None]"
    conflict: "float | None"
    crank: "NotRequired[Crank | None]"
    evidence: "list[Evidence]"
    missing: "list[Missing]"
    named: "str | None"
    next: "list[NextTest]"
    phase: "Phase"
    ruleset: "RulesetDigest"
    side: "Side | None"
    sides: "BySide"
    standing: "Standing"
    suspects: "list[SuspectBelief]"
    text: "str"

# What `verdict.watch` tells.
# The verdict changed, or this is how it stands.
class VerdictItemVerdict(JobVerdict):
    kind: "Literal['verdict']"

# The bay's job was closed.
class VerdictItemClosed(TypedDict):
    job: "str"
    kind: "Literal['closed']"
    time: "Time"

# Items were missed.
class VerdictItemGap(TypedDict):
    kind: "Literal['gap']"
    missed: "int"

VerdictItem: TypeAlias = "VerdictItemVerdict | VerdictItemClosed | VerdictItemGap"

# Somebody who is told what happens.
class Webhook(TypedDict):
    about: "list[str]"
    dead: "int"
    gone: "bool"
    note: "NotRequired[str | None]"
    url: "str"
    waiting: "int"
    webhook: "str"

# Webhooks.
class Webhooks(TypedDict):
    webhooks: "list[Webhook]"

# A refusal as it travels: the `data` member of a JSON-RPC error object.
class WireError(TypedDict):
    defects: "NotRequired[list[Defect]]"
    field: "NotRequired[str | None]"
    hint: "NotRequired[str | None]"
    kind: "ErrorKind"
    message: "str"
