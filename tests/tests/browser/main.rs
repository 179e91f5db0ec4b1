//! The pages that `listen` serves: drilled from, attacked, and looked at in a real browser.
#![cfg(unix)]

mod acts;
mod attacks;
mod glass;
mod keys;
mod listen;
mod looks;
mod office;
mod rig;
mod shift;
mod site;
mod sleeps;
mod stays;
mod tablet;
