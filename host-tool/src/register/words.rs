//! A hole of the register in words, on a terminal and on paper.

use super::Registered;
use crate::entry::HoleName;
use crate::measure::length_text;
use crate::sheet::leg_text;
use shared_protocol::state::{Leg, SheetUnits};
use shared_protocol::units::Micrometres;

/// What is said where holes stand open.
pub const CAUTION: &str = "Cover, fence, guard or attend every open hole, whatever its depth. Local codes and licensed people decide.";

/// What an open hole owes of which nobody has said how it is kept.
pub const OWES: &str = "OWES A COVER, A GUARD OR ATTENDANCE";

/// Which hole: "41 left leg, attempt 2".
#[must_use]
pub fn name(hole: &HoleName) -> String {
    let leg = if hole.leg == Leg::Single { String::new() } else { format!(" {} leg", leg_text(hole.leg)) };
    let attempt = if hole.attempt > 1 { format!(", attempt {}", hole.attempt) } else { String::new() };
    format!("{}{leg}{attempt}", hole.structure)
}

/// How long a hole has been open at a moment: "open for 26 h".
#[must_use]
pub fn open_for(hole: &Registered, now_ms: i64) -> String {
    let Some(since) = hole.open_since else { return "open for an unknown time".to_owned() };
    let hours = (now_ms - since.unix_ms).max(0) / 3_600_000;
    if hours < 48 { format!("open for {hours} h") } else { format!("open for {} days", hours / 24) }
}

/// How deep it may be: "at most 3.20 m deep below the datum".
#[must_use]
pub fn deep(hole: &Registered, units: SheetUnits) -> String {
    let Some(metres) = hole.depth else { return "depth not known".to_owned() };
    #[allow(clippy::cast_possible_truncation)] // a float to integer cast saturates
    let um = Micrometres((metres * 1e6).round() as i32);
    format!("at most {} deep below the datum", length_text(um, units))
}
