//! The cab and the office.
//!
//! Bytes from the port go through [`facts`] (what the rig's slots say, hole by hole, nothing judged) and
//! [`judge`] (what it means against the plan) to paper and page.

pub mod capture;
pub mod facts;
pub mod holes;
pub mod judge;
pub mod paper;
pub mod measure;
pub mod plan;
pub mod port;
pub mod readout;
pub mod session;
pub mod store;
pub mod text;
