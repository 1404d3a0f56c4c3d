//! How a technician does a test, once, as a list of [`Step`]s.
//!
//! [`Check::steps`] says how a check of a rule set is carried out, [`arrival`] what comes before the
//! first, [`rest`] what follows one that ended early, and [`engine`] what is done with the key
//! alone. Three runners carry the same lists out: the survey in step with the machine model, and
//! the demo and the practice bay at a simulated bay whose service they call over JSON-RPC.
//!
//! Invariants, each an absence:
//! - no clock, file, socket or chance: the same check gives the same steps;
//! - no number of a rule set but those that are handed in.
//!
//! # What was decided where the three had drifted apart
//!
//! Until there was one list there were three, and these are all the places where they differed.
//! "Demo" is the demo over pseudo-terminals, "practice" the practice bay's key.
//!
//! | step | survey | demo | practice | decided, and why |
//! |---|---|---|---|---|
//! | drive and leads | leads first | drive first | - | drive first: the clamp of `bypass-current` goes around the bypass drive's lead |
//! | leads while the machine is brought into its phase | not read | read | read | said to be lifted until it is ready: what they show before is of no test. Read with the phase still at `off`, a battery under lamps, lift pump and intake heater displaced the one that was measured at rest |
//! | a lead that is there already | stays | lifted and placed again | stays | it stays, and is said to be lifted and placed again like all others |
//! | settling of a moved lead | none | 1 s | none | 1 s: the last reading of the old place is gone by then |
//! | `key-on` while the fuel line fills | not said | not said | said at once | said at once, as it is so; a crank in vain comes back to `key-on` and not to `off` |
//! | key on before cranking | 3 s | 3 s | 3 s | 3 s |
//! | `key-on` for a test | said after 1 s | said after 1 s | said at once | both: at once because it is so, after 1 s so that windows start when every instrument shows it |
//! | `off` for a test | said at once | said after 1 s more | - | said at once: the machine has been at rest since the test before |
//! | air while cranking | cut just before the starter | cut just before | open | cut for a test that cranks, so that the engine cannot start and is measured for as long as it takes; open where a start is wanted |
//! | air after such a crank | opened with the key | opened with the key | - | opened once the engine stands: before, a pump that is stuck open raced in every test that cranked |
//! | `cranking` | said with the starter | said with the starter | told by the speed | said with the starter in a test (a weak battery turns it too slowly to be told from standing), told by the speed in a start |
//! | longest start | 12 s | 12 s | 30 s, and 8 s in a round | 12 s, as the operator of the machine model; 30 s (TM 10-3930-671-24) where a person asked for a crank alone |
//! | idling before load | 2 s | 3 s | - | 3 s: load and high idle only once the idle is steady |
//! | `high-idle` of a test | pedal 0.8 and button, at once | nothing was pressed | pedal 0.6 and button | after 3 s of idle pedal 0.6 and button, then 2 s to run up: 0.6 is about the speed that the button asks for |
//! | pressure for `pressure-holds` | none was built up: its first phase is `off`, and the line stood since the test before | 3 s of key, 3 s of cranking | - | key on for 8 s: what is lost after the stop can only be lost from a full line. The lift pump alone fills it; cranking draws on battery and line for nothing |
//! | `off` of `pressure-holds` | said | not said | - | said with the key: the pressure begins to fall then |
//! | length of a look | `after`, then `over` + 1 s | `after` + `over` + 0.5 s | - | `after`, then `over` + 1 s: the slowest meter shows its last 0.5 s late |
//! | a finding that is not there yet | not waited for | up to 6 s | - | up to 6 s where readings travel; the survey has them in step |
//! | sweep of the pedal | 7 s at least | 2.5 s | - | 7 s at least, one at each place: a meter that reads five times a second shows each of them |
//! | `off` after a test | said when the engine stands | said when the tachometer shows it | said when it stands | said with the key where the engine does not run (nothing read with the key off counts as `key-on`); for all, said 1 s after it stands. Not said while it runs out: a run that is broken in two has a calm second half, and a racing pump passed for a sound one |
//! | an engine that does not stop | air cut after 5 s | after 4 s | after 4 s | after 5 s |
//! | resistance | with the multimeter | with a second one | - | an instrument of its own; whoever has one multimeter takes that for both |
//! | back to low idle | - | - | pedal alone | pedal and button: each is heard by its own drive |
//! | battery charged | never | never | each round | each round of the practice bay, which goes on for hours; a job takes what the battery has |
//! | between two tests | up to 60 s of standing | none | - | a matter of the job and not of a test: the survey lets the machine stand, whoever watches a demo does not wait |

mod check;
pub mod engine;
mod sequence;
mod step;

pub use check::{Check, Measured};
pub use sequence::{arrival, rest};
pub use step::{Control, Instrument, Lead, Phase, Step, runs, stands};
