//! The cab and the office.
//!
//! The way of a record: a [`port`] carries bytes; a [`session`] makes slots of them, asks for what is missing and
//! acknowledges what is stored; a [`store`] keeps them verbatim, and each [`entry`] that people make beside them; a [`capture`] is
//! session and store together.
//! [`readout`] shows what is measured now. Later [`facts`] reads what the slots say, set-up by set-up, [`proof`]
//! what the rig's digest and seal prove of them, and [`judge`] what it means against the plan; [`holes`] lists them;
//! [`register`] says which are open. [`evidence`] is what a paper rests on and carries, and checks one without a store;
//! [`paper`] lays papers out, and [`papers`] prints a folder of them.
//! [`calibrate`] finds out what the rig's sensors are worth.
//! [`structure`] is what a structure's poles ask of its holes.
//! [`plan`], [`sheet`], [`limits_file`] and [`measure`] read what people write; [`text`] makes hostile names harmless,
//! and [`verdicts`] says in a line how a limit stands.
//!
//! Only [`port`] touches the world: everything else is handed bytes, paths and the time.

pub mod calibrate;
pub mod capture;
pub mod day_work;
pub mod doubts;
pub mod ending;
pub mod entry;
pub mod evidence;
pub mod export;
pub mod facts;
pub mod files;
pub mod holes;
pub mod judge;
pub mod limit_sets;
pub mod limits_file;
pub mod lists;
pub mod measure;
pub mod paper;
pub mod papers;
pub mod plan;
pub mod planned;
pub mod port;
pub mod proof;
pub mod readiness;
pub mod readout;
pub mod register;
pub mod session;
pub mod sheet;
pub mod store;
pub mod structure;
pub mod text;
pub mod verdicts;
