//! What the chain does to the signal.
