//! What the practice bay says of itself when it is there.

use trisect_wire::RPC_PATH;
use trisect_simulated::bay::{SimulatedBay, Speaks};
use trisect_machine::Fault;

use super::{LEADS, console, say};
use crate::Service;
use crate::bay::BayHandle;

fn line(label: &str, text: &str) {
    say(&format!("    {label:<12} {text}"));
}

/// Tells where it is, what is in it, and how to try it. The first line is the one `serve` begins with.
pub(super) async fn tell(
    service: &Service,
    bay: &BayHandle,
    machine: &SimulatedBay,
    faults: &[Fault],
) {
    let address = service.address();
    say(&format!("listening on http://{address}{RPC_PATH}"));
    if let Some(tls) = service.tls_address() {
        say(&format!("listening on https://{tls}{RPC_PATH}"));
    }
    say("A practice bay: the machine and its instruments are simulated, nothing real is attached.");
    line("bay", bay.name());
    let faults = Fault::words(faults);
    line("fault", &format!("{faults} (the service is not told)"));
    let job = bay
        .ask(|bay| Box::pin(async move { Ok(bay.job.as_ref().map(|open| open.job.clone())) }))
        .await;
    match job.ok().flatten() {
        Some(job) => {
            let complaint = job.complaint.map_or(String::new(), |id| format!(", {id}"));
            line("job", &format!("{}, {}{complaint}", job.job, job.machine));
        }
        None => line(
            "job",
            &format!("none: trisect job open {} \"Unit 14\"", bay.name()),
        ),
    }
    for one in machine.instruments() {
        let speaks = match &one.speaks {
            Speaks::Multimeter(chip) => format!("multimeter, {}", chip.word()),
            Speaks::ModbusRtu { units, .. } => {
                let units: Vec<&str> = units.iter().map(|unit| unit.symbol()).collect();
                format!("transducer, Modbus RTU, {}", units.join(", "))
            }
        };
        let lead = LEADS.iter().find(|(name, _)| *name == one.id);
        let at = lead.map_or(String::new(), |(_, point)| {
            format!("; its lead is at {point}")
        });
        line(&one.id, &format!("{speaks}{at}"));
    }
    let server = match address.port() {
        trisect_wire::DEFAULT_PORT => String::new(),
        _ => format!(" --server ws://{address}{RPC_PATH}"),
    };
    line("try", &format!("trisect watch{server}"));
    line("type", &format!("{} (Ctrl-C ends)", console::HELP));
}
