//! `calibration.*`: what a reading is traced by.

use jsonrpsee::RpcModule;
use trisect_wire::serve::register;
use trisect_wire::table::CalibrationShow;
use trisect_wire::types::Calibration;
use trisect_wire::{ErrorKind, WireError};

use crate::context::Context;
use crate::convert::{calibration, internal, refusal};

pub(super) fn register_all(module: &mut RpcModule<Context>) {
    register::<CalibrationShow, _, _, _>(module, |context, params| async move {
        context.calibration(&params.calibration).await
    });
}

impl Context {
    async fn calibration(&self, id: &str) -> Result<Calibration, WireError> {
        let kept = self.journal.calibration(id).await;
        let kept = kept.map_err(|error| refusal(&error))?.ok_or_else(|| {
            ErrorKind::UnknownCalibration
                .because(format!("there is no calibration {id}"))
                .at("calibration")
                .hint("readings and instrument.list tell the ids")
        })?;
        let record = serde_json::from_str(&kept.record).map_err(|error| internal(&error))?;
        Ok(calibration(record))
    }
}
