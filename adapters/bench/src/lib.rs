//! A simulated bay: a machine model behind real wire protocols on pseudo-terminals.
