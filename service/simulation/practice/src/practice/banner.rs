//! What the practice bay says of itself when it is there.

use std::net::SocketAddr;

use trisect_machine::Fault;
use trisect_simulated::bay::Speaks;
use trisect_wire::types::Job;
use trisect_wire::{DEFAULT_PORT, RPC_PATH};

use super::{LEADS, console, print};
use crate::operator::Operator;

fn line(label: &str, text: &str) {
    print(&format!("    {label:<12} {text}"));
}

/// Tells where it is, what is in it, and how to try it. The first line is the one `serve` begins with.
pub(super) fn tell(
    operator: Operator<'_>,
    address: SocketAddr,
    tls: Option<SocketAddr>,
    job: Option<&Job>,
    faults: &[Fault],
) {
    print(&format!("listening on http://{address}{RPC_PATH}"));
    if let Some(tls) = tls {
        print(&format!("listening on https://{tls}{RPC_PATH}"));
    }
    print(
        "A practice bay: the machine and its instruments are simulated, nothing real is attached.",
    );
    line("bay", operator.bay);
    let faults = Fault::words(faults);
    line("fault", &format!("{faults} (the service is not told)"));
    match job {
        Some(job) => {
            let complaint = &job.complaint;
            let complaint = complaint
                .as_ref()
                .map_or(String::new(), |id| format!(", {id}"));
            line("job", &format!("{}, {}{complaint}", job.job, job.machine));
        }
        None => line(
            "job",
            &format!("none: trisect job open {} \"Unit 14\"", operator.bay),
        ),
    }
    for one in operator.simulated.instruments() {
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
        DEFAULT_PORT => String::new(),
        _ => format!(" --server ws://{address}{RPC_PATH}"),
    };
    line("try", &format!("trisect watch{server}"));
    line("type", &format!("{} (Ctrl-C ends)", console::HELP));
}
