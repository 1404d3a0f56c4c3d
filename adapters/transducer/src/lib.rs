//! Pressure transducers over Modbus RTU.
