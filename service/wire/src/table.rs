//! The table of methods: from it the server registers, the client calls and `rpc.discover` is made,
//! so that the three cannot drift.
//!
//! A row reads: type, name, least role, `(parameters) -> result`, its own refusals, summary.
//! Every method may also answer with [`crate::ErrorKind::COMMON`].

use crate::method::table;
use crate::types::*;

table! {
    methods {
        ServiceAbout "service.about" Read (NoParams) -> About, [],
            "Name, version, start time, adapters and rule sets of this service.";

        BayList "bay.list" Read (NoParams) -> Bays, [],
            "The bays, with phase, drive and open job.";

        InstrumentList "instrument.list" Read (InstrumentListParams) -> Instruments, [UnknownBay],
            "The instruments of one bay or of all, with their state, channels and counters.";
        InstrumentAttach "instrument.attach" Manage (InstrumentAttachParams) -> Instrument,
            [UnknownBay, UnknownAdapter, InvalidSettings, PluginFailed, PortRefused, BayBusy, Storage],
            "Opens an instrument in a bay through an adapter; it reconnects by itself until detached.";
        InstrumentDetach "instrument.detach" Manage (InstrumentName) -> Instrument,
            [UnknownBay, UnknownInstrument, Storage],
            "Closes an instrument and forgets it; answers its last state.";

        InstrumentProbe "instrument.probe" Manage (InstrumentProbeParams) -> InstrumentProbed, [PortRefused],
            "Opens a port for some seconds and says what speaks there; nothing is written unless it is allowed.";

        PortList "port.list" Read (NoParams) -> Ports, [],
            "The serial ports of the service's machine, each by the path that stays.";

        CalibrationShow "calibration.show" Read (CalibrationName) -> Calibration, [UnknownCalibration, Storage],
            "A calibration that readings name, as it was when they were taken.";

        ProbePlace "probe.place" Measure (ProbePlaceParams) -> Instrument,
            [UnknownBay, UnknownInstrument, UnknownChannel, UnknownPoint, WrongQuantity, NoOpenJob],
            "Says that a channel now measures at a test point; the point's windows start again.";
        ProbeLift "probe.lift" Measure (ProbeLiftParams) -> Instrument,
            [UnknownBay, UnknownInstrument, UnknownChannel, Storage],
            "Says that a channel measures nowhere; its samples are readings of no job.";
        ProbeList "probe.list" Read (ProbeListParams) -> Placements, [UnknownBay, UnknownJob, NoOpenJob, Storage],
            "Which channel was at which test point of a job, and when.";

        PhaseSay "phase.say" Measure (PhaseSayParams) -> Bay, [UnknownBay, NoOpenJob],
            "Says the engine's phase, the drive connected, or both; the phase's windows start again.";

        BarometerSay "barometer.say" Measure (BarometerSayParams) -> Bay,
            [UnknownBay, UnknownUnit, WrongQuantity, InvalidValue, ImplausibleValue],
            "Says the barometric pressure, which is taken off absolute pressures.";

        ReadingSubmit "reading.submit" Measure (ReadingSubmitParams) -> ReadingSubmitted,
            [UnknownBay, NoOpenJob, UnknownPoint, UnknownUnit, WrongQuantity, InvalidValue, ImplausibleValue,
             InvalidTime, NoBarometer, Storage],
            "Stores readings, all or none, and answers once they are on disk; the same key twice is stored once.";
        ReadingEnter "reading.enter" Measure (ReadingEnterParams) -> Reading,
            [UnknownBay, NoOpenJob, UnknownPoint, UnknownUnit, WrongQuantity, InvalidValue, ImplausibleValue, NoBarometer,
             Storage],
            "Stores one reading a person took, written as they would write it; it stands for the check's whole window; the same key twice is stored once.";
        ReadingHistory "reading.history" Read (ReadingHistoryParams) -> Readings,
            [UnknownBay, UnknownJob, UnknownPoint, NoOpenJob, InvalidTime, Storage],
            "Readings of a job, or of a bay's instruments outside any job, oldest first, a page at a time.";

        JobOpen "job.open" Manage (JobOpenParams) -> Job,
            [UnknownBay, UnknownRuleset, UnknownComplaint, BayBusy, Storage],
            "Opens a job for a machine in a bay.";
        JobList "job.list" Read (JobListParams) -> Jobs, [UnknownBay, Storage],
            "Jobs, newest first.";
        JobShow "job.show" Read (JobShowParams) -> JobDetail, [UnknownJob, Storage],
            "A job with its answers, a page at a time, and its verdict.";
        JobAnswer "job.answer" Measure (JobAnswerParams) -> JobVerdict,
            [UnknownJob, JobClosed, UnknownCheck, UnknownAnswer, Storage],
            "Stores the answer to an asked check; answers the verdict that includes it.";
        JobClose "job.close" Manage (JobCloseParams) -> Job,
            [UnknownJob, JobClosed, UnknownSuspect, Storage],
            "Closes a job, and keeps what the machine really had.";
        JobVerdictNow "job.verdict" Read (JobName) -> JobVerdict, [UnknownJob, Storage],
            "The verdict of a job as it stands.";
        JobReport "job.report" Read (JobName) -> Report, [UnknownJob, Storage],
            "The job in plain language: what was measured, what it means, what is unproven.";
        JobReplay "job.replay" Read (JobReplayParams) -> Replay, [UnknownJob, UnknownRuleset, Storage],
            "Folds the job's recorded events anew, by its own rule set or another one, and compares the verdict with the recorded one.";
        JobExport "job.export" Read (JobName) -> JobExported, [UnknownJob, Storage],
            "The job as a case with its stream: what trying it comes to is the job's verdict.";

        JobVerify "job.verify" Read (JobName) -> JobVerified, [UnknownJob, Storage],
            "Holds a job against its chain of hashes: whether anything of it was altered since it was stored.";

        RulesetList "ruleset.list" Read (NoParams) -> Rulesets, [],
            "The rule sets this service can open jobs with.";
        RulesetShow "ruleset.show" Read (RulesetName) -> Ruleset, [UnknownRuleset],
            "A rule set as a front end needs it: test points, checks, suspects, complaints, cautions.";
        RulesetExamine "ruleset.examine" Read (RulesetExamineParams) -> RulesetExamined, [],
            "Every defect of a rule set's text, with line, column and the way to mend it; what its checks can tell apart; on request, a search that proves its gate.";
        RulesetInstall "ruleset.install" Manage (RulesetInstallParams) -> RulesetInstalled,
            [DefectiveRuleset, Storage],
            "Installs a rule set, all or nothing: new jobs use it from then on, open ones keep their own.";
        RulesetTrial "ruleset.trial" Read (RulesetTrialParams) -> RulesetTried,
            [UnknownRuleset, DefectiveRuleset, DefectiveCase],
            "Runs cases against a rule set and says what differs, what no case reaches and what none would notice.";

        WebhookList "webhook.list" Manage (NoParams) -> Webhooks, [Storage],
            "Who is told what happens, with the deliveries that wait and those given up.";
        DeliveryList "delivery.list" Manage (DeliveryListParams) -> Deliveries, [UnknownWebhook, Storage],
            "Events that could not be delivered and were given up, or those on their way.";
        DeliveryResend "delivery.resend" Manage (DeliveryResendParams) -> DeliveriesResent, [UnknownWebhook, Storage],
            "Puts events that were given up on their way again.";

        AuditList "audit.list" Manage (AuditListParams) -> AuditTrail, [Storage],
            "Who did what, newest first.";

        RpcDiscover "rpc.discover" Read (NoParams) -> OpenRpc, [],
            "This table as an OpenRPC document.";
    }

    subscriptions {
        ReadingWatch "reading.watch" ends "reading.unwatch" Read (BayName) => ReadingItem, [UnknownBay],
            "Readings of a bay as they are stored.";
        VerdictWatch "verdict.watch" ends "verdict.unwatch" Read (BayName) => VerdictItem, [UnknownBay],
            "The verdict of the bay's job: as it stands, then whenever it changes.";
        InstrumentWatch "instrument.watch" ends "instrument.unwatch" Read (InstrumentListParams) => InstrumentItem,
            [UnknownBay],
            "Instruments of one bay or of all: as they stand, then whenever one changes state.";
    }
}
