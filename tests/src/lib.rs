//! What the proofs share.
