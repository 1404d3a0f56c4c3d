//! What the machine model loses in its lines, as JSON, for `lines.py` to hold against a
//! reference library: laminar, turbulent and between.

use serde_json::{Value, json};
use trisect_machine::Pipe;

/// A litre an hour, m³/s.
const LITRE_PER_HOUR: f64 = 1e-3 / 3600.0;

fn main() {
    let mut rows: Vec<Value> = Vec::new();
    for bore in [6e-3, 8e-3, 10e-3] {
        for viscosity in [3e-6, 10e-6] {
            // As warm fuel and cold fuel weigh in the published rows.
            let density = if viscosity < 5e-6 { 830.0 } else { 850.0 };
            let pipe = Pipe {
                viscosity,
                density,
                length: 3.0,
                bore,
            };
            for litres in [1.0, 60.0, 100.0, 180.0, 250.0, 400.0, 1000.0, 3000.0] {
                let flow = litres * LITRE_PER_HOUR;
                rows.push(json!({
                    "litres_per_hour": litres,
                    "viscosity": viscosity,
                    "density": density,
                    "length": pipe.length,
                    "bore": bore,
                    "reynolds": pipe.reynolds(flow),
                    "loss": pipe.loss(flow),
                    "resistance": pipe.resistance(flow),
                }));
            }
        }
    }
    println!("{}", Value::from(rows));
}
