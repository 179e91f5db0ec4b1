//! Paper: as-drilled certificates and structure summaries.
pub mod layout;
