//! Power cuts: after every byte that the rig writes, and again after every byte that it writes in recovering.
//!
//! A [`site`] is a rig on a small frail memory with a host beside it. [`script`] has it work, and keeps for every byte
//! written what a power cut there would have left; [`oracle`] takes each of those up again and says what is wrong.

pub mod oracle;
pub mod reset;
pub mod script;
pub mod site;
