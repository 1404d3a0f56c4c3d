//! Does to the simulated machine what a front end says to the service: leads go where probes are placed, and the
//! drive is plugged on that is said to be connected.

use std::collections::BTreeMap;
use std::time::Duration;

use trisect_simulated::bay::SimulatedBay;
use trisect_wire::table::{BayList, InstrumentList, InstrumentWatch};
use trisect_wire::types::{Drive, Instrument, InstrumentItem, InstrumentListParams, NoParams};

use super::print;
use crate::connection::CallError;
use crate::operator::Operator;
use crate::steps::on_pump;

/// How often it is looked which drive was said: no subscription tells it.
const LOOK: Duration = Duration::from_millis(100);
const DOING: &str = "cannot follow what is said to the service";

/// What has been done to the machine so far.
#[derive(Default)]
struct Done {
    leads: BTreeMap<(String, u16), String>,
    drive: Option<Drive>,
}

/// Follows until the service is gone. A lead whose probe is lifted stays where it is: its readings are of no job.
pub(super) async fn follow(operator: Operator<'_>) -> Result<(), CallError> {
    let here = InstrumentListParams {
        bay: Some(operator.bay.to_owned()),
    };
    let service = operator.service;
    let mut changes = service.watch::<InstrumentWatch>(DOING, &here).await?;
    let mut looks = tokio::time::interval(LOOK);
    let mut done = Done::default();
    loop {
        tokio::select! {
            change = changes.next() => match change {
                Some(Ok(InstrumentItem::Instrument(one))) => done.place(operator.simulated, &one),
                Some(Ok(InstrumentItem::Detached { .. })) => {}
                // Changes that were missed show in how things stand.
                Some(Ok(InstrumentItem::Gap { .. })) => {
                    let all = service.call::<InstrumentList>(DOING, &here).await?;
                    all.instruments.iter().for_each(|one| done.place(operator.simulated, one));
                }
                // Ended by the service, or unreadable: subscribed to again, which fails if it is gone.
                Some(Err(_)) | None => {
                    looks.tick().await;
                    changes = service.watch::<InstrumentWatch>(DOING, &here).await?;
                }
            },
            _ = looks.tick() => done.connect(operator).await?,
        }
    }
}

impl Done {
    fn place(&mut self, simulated: &SimulatedBay, one: &Instrument) {
        // An instrument that is not simulated has no lead here.
        if !simulated
            .instruments()
            .iter()
            .any(|known| known.id == one.instrument)
        {
            return;
        }
        for channel in &one.channels {
            let (Some(point), Ok(input)) = (&channel.point, channel.channel.parse::<u16>()) else {
                continue;
            };
            let lead = (one.instrument.clone(), input);
            if self.leads.get(&lead) == Some(point) {
                continue;
            }
            self.leads.insert(lead, point.clone());
            if let Err(error) = simulated.place(&one.instrument, input, point) {
                print(&format!(
                    "{} cannot be put at {point}: {error}",
                    one.instrument
                ));
            }
        }
    }

    async fn connect(&mut self, operator: Operator<'_>) -> Result<(), CallError> {
        let bays = match operator.service.call::<BayList>(DOING, &NoParams {}).await {
            // A token whose rate is used up, say: the next look shows it.
            Err(error) if error.refusal().is_some() => return Ok(()),
            answer => answer?.bays,
        };
        let said = bays.iter().find(|one| one.bay == operator.bay);
        if let Some(drive) = said.and_then(|one| one.drive)
            && self.drive.replace(drive) != Some(drive)
        {
            operator.simulated.control(|c| c.drive = on_pump(drive));
        }
        Ok(())
    }
}
