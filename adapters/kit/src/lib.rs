//! The adapter contract: framing, decoding, ports, and the harness that tests them.
