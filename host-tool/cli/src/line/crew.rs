//! What people of the line measure and say: tickets, soundings, what was met, and how each hole is kept. All of them are invented.

use super::jobs::Job;
use super::turns_out::Incident;
use host_tool::entry::{Along, CleanOut, Entry, HoleName, HoleState, NoteKind, Said, SetUpName};
use host_tool::facts::Wall;
use host_tool::planned::{day, standing};
use host_tool::sheet::{Basis, LegPlan};
use shared_protocol::state::Leg;
use simulator::chance::{Chance, Drawer};
use simulator::truth::{LineAxes, Truth};
use std::collections::BTreeMap;

const HAND: &str = "SIM Ground hand";
const FOREMAN: &str = "SIM Foreman";
const SETTERS: &str = "SIM Pole crew";
const MINUTE_MS: i64 = 60_000;
const HOUR_MS: i64 = 60 * MINUTE_MS;
/// Poles stand in the structures before the first of these, but for the other, whose sheet is in question.
const POLES: (&str, &str) = ("110", "103");
/// Above the brand of a longer pole than 50 ft, from its butt: 14 ft; of a shorter one 10 ft (trade practice, from memory).
const BRANDS_M: (f64, f64, f64) = (15.3, 4.267_2, 3.048);

/// A set-up that was drilled.
#[derive(Debug)]
pub struct Drilled<'a> {
    /// Which.
    pub job: &'a Job,
    /// What is truly there.
    pub truth: &'a Truth,
    /// Its name in entries.
    pub set_up: SetUpName,
    /// When it was loaded.
    pub loaded: Wall,
    /// When the rig was done with it.
    pub left: Wall,
}

/// Where the middle of each hole of a structure is, off its stake, mm, and the elevation of its ground, metres.
type Centres = BTreeMap<(String, Leg), (LineAxes, f64)>;

/// The crew, with what it has entered so far.
#[derive(Debug)]
pub struct Crew {
    seed: u64,
    entries: Vec<Entry>,
    centres: Centres,
}

impl Crew {
    /// One that has said nothing yet.
    pub fn new(seed: u64) -> Self {
        Self { seed, entries: Vec::new(), centres: BTreeMap::new() }
    }

    /// All entries in the order of their time.
    pub fn into_entries(mut self) -> Vec<Entry> {
        self.entries.sort_by_key(|entry| entry.at.unix_ms);
        self.entries
    }

    /// Enters what there is to say of a set-up.
    pub fn enter(&mut self, drilled: &Drilled) {
        let plan = &drilled.job.plan;
        let unlike = u64::from(drilled.job.leg.row) + 1_000 * u64::from(plan.attempt) + 10_000 * u64::from(plan.setup);
        let mut said = Saying { of: drilled, chance: Chance::new(self.seed + unlike, Drawer::Crew), entries: Vec::new() };
        said.ticket();
        if drilled.job.is_given_up() {
            said.given_up();
        } else if drilled.job.is_unfinished() {
            said.state(10, HoleState::Covered, FOREMAN, "thunderstorm: steel plate, secured and marked HOLE; goes on tomorrow");
        } else {
            let depth_mm = said.soundings();
            let centre = said.centre();
            let leg = &drilled.job.leg;
            self.centres.insert((leg.structure.clone(), leg.leg), (centre, leg.ground_original_m.unwrap_or(0.0)));
            said.spacing(centre, &self.centres);
            said.measured();
            said.met();
            said.kept();
            said.pole(depth_mm);
        }
        self.entries.append(&mut said.entries);
    }
}

/// What is being said of one set-up.
struct Saying<'a> {
    of: &'a Drilled<'a>,
    chance: Chance,
    entries: Vec<Entry>,
}

impl<'a> Saying<'a> {
    fn leg(&self) -> &'a LegPlan {
        &self.of.job.leg
    }

    /// Adds an entry so many minutes after the rig was done with the hole.
    fn say(&mut self, minutes: i64, by: &str, with: &str, remark: &str, said: Said) {
        let at = Wall { unix_ms: self.of.left.unix_ms + minutes * MINUTE_MS, ..self.of.left };
        self.say_at(at, by, with, remark, said);
    }

    fn say_at(&mut self, at: Wall, by: &str, with: &str, remark: &str, said: Said) {
        let Some(hole) = HoleName::of(&self.of.job.plan) else { return };
        let set_up = matches!(said, Said::Sounding { .. } | Said::HandPlumb { .. }).then(|| self.of.set_up.clone());
        let (with, remark) = (with.to_owned(), remark.to_owned());
        self.entries.push(Entry { set_up, with, remark, ..Entry::new(by, at, hole, said) });
    }

    fn state(&mut self, minutes: i64, state: HoleState, by: &str, remark: &str) {
        self.say(minutes, by, "", remark, Said::State { state });
    }

    /// How the locate ticket stood when the hole was loaded.
    fn ticket(&mut self) {
        let ticket = self.leg().ticket.as_ref();
        let number = ticket.map_or_else(String::new, |ticket| ticket.number.clone());
        let standing = standing(ticket, day(self.of.loaded));
        self.say_at(self.of.loaded, "SIM Operator", "", "", Said::Ticket { number, standing });
    }

    fn given_up(&mut self) {
        let rock = Said::Note { what: NoteKind::Rock { shot: false, by: String::new() } };
        self.say(4, HAND, "", "boulder over half of the hole, the tool walks off it", rock);
        self.state(9, HoleState::Abandoned, FOREMAN, "restaked 4 ft ahead on line, as the engineer says");
        self.state(11, HoleState::Guarded, FOREMAN, "");
        self.state(55, HoleState::Backfilled, HAND, "filled with its own spoil, tamped in 1 ft lifts");
    }

    /// Three by tape after clean-out, in the middle and at two edges; most holes have them. Returns their mean, mm. The middle of an
    /// augered floor stands high: common practice, no source.
    fn soundings(&mut self) -> Option<f64> {
        if (self.leg().row > 20 && self.leg().row % 9 == 2) || self.of.job.stays_open() {
            return None;
        }
        let edge_mm = self.leg().diameter_m * 350.0;
        let mut sum = 0.0;
        for (at, (ahead_mm, right_mm, high_mm)) in
            [(0.0, 0.0, 9.0), (-edge_mm, 0.0, 0.0), (0.6 * edge_mm, 0.8 * edge_mm, 0.0)].into_iter().enumerate()
        {
            let depth_mm = (self.of.truth.floor_mm - high_mm + 5.0 * self.chance.bell() + 2.0 * self.chance.bell()).round();
            sum += depth_mm;
            let said = Said::Sounding {
                depth_um: um(depth_mm),
                ahead_um: um(ahead_mm),
                right_um: um(right_mm),
                standard_um: 5_000,
                clean_out: CleanOut::After,
            };
            self.say(if at == 0 { 6 } else { 7 }, HAND, "SIM tape 3", "", said);
        }
        Some(sum / 3.0)
    }

    /// The middle of the hole off its stake.
    fn centre(&mut self) -> LineAxes {
        let centre = LineAxes { ahead: (14.0 * self.chance.bell()).round(), right: (14.0 * self.chance.bell()).round() };
        let said = Said::Centre { ahead_um: um(centre.ahead), right_um: um(centre.right), standard_um: 5_000 };
        let remark = if self.of.job.plan.attempt > 1 { "off the new stake" } else { "" };
        self.say(8, HAND, "SIM tape 3", remark, said);
        centre
    }

    /// From this hole to the one left of it, where one is drilled: level, or along the ground where that slopes.
    fn spacing(&mut self, centre: LineAxes, centres: &Centres) {
        let leg = self.leg();
        let known = |to: Leg| Some((to, *centres.get(&(leg.structure.clone(), to))?));
        let beside = match leg.leg {
            Leg::Right => known(Leg::Middle).or_else(|| known(Leg::Left)),
            Leg::Middle => known(Leg::Left),
            Leg::Left | Leg::Single => None,
        };
        let (Some((to, (other, ground_m))), Some(framed_m)) = (beside, leg.framed_spacing_m) else { return };
        let (across, along) = (framed_m * 1e3 + centre.right - other.right, centre.ahead - other.ahead);
        let level_mm = (across * across + along * along).sqrt() + 3.0 * self.chance.bell();
        // some tape it level, others along the ground
        let rise = if leg.row.is_multiple_of(2) { (leg.ground_original_m.unwrap_or(ground_m) - ground_m).abs() / framed_m } else { 0.0 };
        let distance_um = um((level_mm * f64::sqrt(1.0 + rise * rise)).round());
        let lay = if rise > 0.0 { Along::Slope { rise_ppm: um(rise * 1e3) } } else { Along::Level };
        self.say(9, HAND, "SIM tape 3", "", Said::Spacing { to, distance_um, standard_um: 4_000, along: lay });
    }

    /// A diameter here, a plumb bob there.
    fn measured(&mut self) {
        let (row, diameter_mm) = (self.leg().row, self.leg().diameter_m * 1e3);
        if row.is_multiple_of(4) {
            let across_mm = (diameter_mm + 6.0 + 14.0 * self.chance.uniform()).round();
            let said = Said::Diameter { depth_um: 1_000_000, diameter_um: um(across_mm), standard_um: 5_000 };
            self.say(10, HAND, "SIM calliper rod", "", said);
        }
        if row % 7 == 3 || self.of.job.incident == Some(Incident::OutOfPlumb) {
            let path = &self.of.truth.path;
            let Some((depth_mm, axis)) = path.get(path.len() * 17 / 20).copied() else { return };
            let mut off = |mm: f64| um((mm + 2.5 * self.chance.bell()).round());
            let (ahead_um, right_um) = (off(axis.ahead), off(axis.right));
            let said = Said::HandPlumb { depth_um: um(depth_mm.round()), ahead_um, right_um, standard_um: 5_000 };
            self.say(12, FOREMAN, "SIM plumb bob", "", said);
        }
    }

    /// Water, rock and fall-in.
    fn met(&mut self) {
        let leg = self.leg();
        let (row, rock) = (leg.row, matches!(leg.basis, Some(Basis::SoilOverRock { .. })));
        let gravel = self.of.job.scenario.layer.iter().any(|layer| layer.name == "gravel");
        if row % 6 == 1 && !rock {
            let depth_um = um((self.of.truth.floor_mm - 250.0 - 400.0 * self.chance.uniform()).round());
            self.say(13, HAND, "SIM tape 3", "", Said::Water { depth_um: Some(depth_um) });
        } else if row % 6 == 2 {
            self.say(13, HAND, "", "", Said::Water { depth_um: None });
        }
        if rock {
            let what = NoteKind::Rock { shot: false, by: String::new() };
            self.say(5, HAND, "", "soft rock, drilled without shooting", Said::Note { what });
        }
        if gravel && row % 2 == 1 {
            self.say(5, HAND, "", "gravel runs in a little from the north side", Said::Note { what: NoteKind::FallIn });
        }
    }

    /// How the hole is kept from then on.
    fn kept(&mut self) {
        if matches!(self.of.job.incident, Some(Incident::Uncovered | Incident::Unclosed)) {
            return;
        }
        let (state, remark) = match self.leg().structure.bytes().last() {
            Some(b'4') => (HoleState::Fenced, "fence round all holes of the structure"),
            Some(b'9') => (HoleState::Guarded, "barricade with lamps"),
            _ => (HoleState::Covered, "plank cover, secured and marked HOLE"),
        };
        self.state(15, state, FOREMAN, remark);
    }

    /// A day later the pole stands, in the first structures; its brand says how deep the butt is.
    fn pole(&mut self, depth_mm: Option<f64>) {
        let structure = self.leg().structure.as_str();
        let Some(depth_mm) = depth_mm.filter(|_| structure < POLES.0 && structure != POLES.1) else { return };
        let (long_m, of_long, of_short) = BRANDS_M;
        let to_butt_m = if self.leg().pole_length_m.is_some_and(|length| length > long_m) { of_long } else { of_short };
        let height_mm = to_butt_m * 1e3 - depth_mm + 5.0 * self.chance.bell();
        let at = Wall { unix_ms: self.of.left.unix_ms + 26 * HOUR_MS, ..self.of.left };
        self.say_at(at, SETTERS, "", "", Said::State { state: HoleState::PoleSet });
        let said = Said::Brand { height_um: um(height_mm.round()), to_butt_um: um(to_butt_m * 1e3), standard_um: 6_000 };
        self.say_at(at, SETTERS, "SIM tape 7", "", said);
    }
}

fn um(mm: f64) -> i32 {
    #[allow(clippy::cast_possible_truncation)] // saturates
    let whole = (mm * 1e3).round() as i32;
    whole
}
