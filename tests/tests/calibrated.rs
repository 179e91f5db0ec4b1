//! A rig calibrated from end to end, by somebody who is led and knows nothing of what is wrong with it: every error drawn
//! is found within what the calibration says it is worth, and the next hole is measured better than the one before.

use host_tool::calibrate::guide::{Guide, Heard, Say, Signature};
use host_tool::calibrate::in_force::{ITEMS, in_force};
use host_tool::calibrate::procedure::Procedure;
use host_tool::facts::SetUp;
use host_tool::judge::judge;
use shared_protocol::message::{Calibrate, CloseHole, Command, LoadHole, TouchHub};
use shared_protocol::record::Calibration;
use shared_protocol::state::{Answer, CalibrationItem};
use shared_protocol::units::RigAxes;
use simulator::bench::Bench;
use simulator::errors::{Errors, Magnitudes};
use simulator::memory::RamMemory;
use simulator::native::NativeMachine;
use simulator::pose::{ByHand, Pose, Side};
use simulator::scenario::{ORDINARY, Scenario};
use simulator::sensors::COUNTS_PER_MM;
use simulator::world::{Lever, Place};
use tempfile::TempDir;
use tests::cab::Cab;

/// Two days, the second of them warmer: 2026-05-12 and the day after; degrees Celsius.
const DAYS: [(u32, f64); 2] = [(20_585, 8.0), (20_586, 24.0)];
/// What the level may be wrong by, as its maker says: half a millimetre a metre.
const LEVEL: &str = "0.5 mm/m";
/// Lengths to tape, mm below the hub: beyond the deepest hole, and several on each layer of the drum.
const TAPED_MM: [f64; 6] = [-100.0, 500.0, 1_100.0, 1_700.0, 2_300.0, 2_900.0];

/// A rig by hand, and the host beside it.
struct Shop {
    cab: Cab<NativeMachine>,
    scenario: Scenario,
    day: (u32, f64),
    _folder: TempDir,
}

impl Shop {
    fn with_errors_of(seed: u64) -> Self {
        let mut scenario = Scenario::parse("a test's", ORDINARY).expect("sound");
        scenario.errors = Errors::draw(seed, &Magnitudes::uncalibrated());
        // What no calibration finds stands in the middle of its range, so that it does not hide what was found.
        (scenario.errors.tool.play_toward, scenario.errors.path.heading_deg) = ([0.0; 2], 0.0);
        (scenario.errors.depth.hub_level_mm, scenario.errors.depth.floor_mm) = (0.0, 0.0);
        let folder = TempDir::new().expect("a folder");
        let bench = Bench::by_hand(&scenario, seed, NativeMachine::start(RamMemory::default()).expect("starts")).expect("fits");
        let mut cab = Cab::new(bench, folder.path().join("site.store"));
        cab.run_for(5_000);
        Self { cab, scenario, day: DAYS[0], _folder: folder }
    }

    fn done(&mut self, command: Command) {
        assert_eq!(self.cab.ask(command.clone()), Some(Answer::Done), "{command:?}");
    }

    fn pose(&mut self, pose: Pose) -> ByHand {
        self.cab.bench.pose(pose).unwrap_or_else(|| panic!("{pose:?} cannot be taken"))
    }

    fn go(&mut self, depth_mm: f64, speed_mm_s: f64) {
        self.cab.bench.levers().lever = Lever::To { depth_mm, speed_mm_s };
        self.cab.until("the tip there", |cab| (cab.bench.world().tip_mm() - depth_mm).abs() < 0.01);
        self.cab.run_for(1_500);
    }

    fn slew(&mut self, place: Place) {
        assert!(self.cab.bench.levers().slew(place));
        self.cab.until("the place", |cab| cab.bench.world().place() == Some(place));
        self.cab.run_for(2_000);
    }

    fn lean(&mut self, forward: f64, right: f64) {
        self.cab.bench.levers().lean_by_hand(RigAxes { forward, right });
        self.cab.run_for(15_000); // 3 mm/m a second
    }

    /// Drills the scenario's hole in one pass, the hub touched before and after; what the rig recorded.
    fn drill(&mut self) -> SetUp {
        let hole = self.scenario.hole[0].clone();
        self.cab.bench.levers().set_up(&hole);
        self.go(-400.0, 300.0);
        let plan = self.scenario.plan(0).expect("a plan");
        self.done(Command::LoadHole(LoadHole { plan }));
        self.go(0.0, 100.0);
        self.done(Command::TouchHub(TouchHub {}));
        self.go(-400.0, 300.0);
        self.slew(Place::Hole);
        let bottom_mm = hole.target_mm();
        self.cab.bench.levers().turning = true;
        self.go(bottom_mm, 250.0);
        self.cab.bench.levers().turning = false;
        self.go(-400.0, 300.0);
        self.slew(Place::Hub);
        self.go(0.0, 100.0);
        self.done(Command::TouchHub(TouchHub {}));
        self.go(-400.0, 300.0);
        self.done(Command::CloseHole(CloseHole {}));
        self.cab.setups().pop().expect("a set-up")
    }

    /// Follows the guide through a procedure, answers what it asks, and has the rig take what it finds.
    fn calibrate(&mut self, procedure: Procedure, mut answer: impl FnMut(&mut Self, &str) -> String) -> Calibration {
        let known = in_force(&self.cab.stored());
        let signature = Signature { who: Some("Sim. Fitter".to_owned()), months: Some(12) };
        let mut guide = Guide::begin(procedure, known, signature, self.day.0, self.cab.now()).expect("it can begin");
        loop {
            match guide.say() {
                Some(Say::Ask(question)) => {
                    let line = if question.starts_with("Shall the rig") { "yes".to_owned() } else { answer(self, &question) };
                    assert_eq!(guide.line(self.cab.now(), &line), Ok(Heard::Understood), "{question} {line}");
                }
                Some(Say::Send(calibration)) => {
                    self.done(Command::Calibrate(Calibrate { calibration: (*calibration).clone() }));
                    return *calibration;
                }
                Some(Say::Line(_) | Say::Watch(_)) => {}
                None => {
                    self.cab.turn();
                    let now = self.cab.now();
                    for raw in std::mem::take(&mut self.cab.raws) {
                        guide.raw(now, &raw).expect("it rests");
                    }
                    guide.tick(now).expect("raw readings come");
                }
            }
        }
    }

    fn zero(&mut self, day: (u32, f64)) -> Calibration {
        self.day = day;
        self.cab.bench.levers().another_day(day.1);
        let mut quarter = 0;
        let zero = self.calibrate(Procedure::Zero { four: true }, |shop, _| {
            shop.pose(Pose::Plate { quarter });
            quarter += 1;
            String::new()
        });
        self.pose(Pose::Work);
        zero
    }

    fn mount(&mut self) -> Calibration {
        self.pose(Pose::Mast);
        // The toe goes where the mast's top does not.
        let mut leans = [0.0, -15.0, 15.0].into_iter();
        let mount = self.calibrate(Procedure::Mount, |shop, _| {
            shop.lean(leans.next().expect("three positions"), 0.0);
            String::new()
        });
        self.lean(2.0, -1.0);
        mount
    }

    fn level(&mut self) -> Calibration {
        let (mut quarter, mut read) = (0, [0.0; 2]);
        self.calibrate(Procedure::Level, |shop, question| match question {
            q if q.starts_with("What may the level") => LEVEL.to_owned(),
            q if q.starts_with("Turn the tool string") => {
                let ByHand::Level(said) = shop.pose(Pose::String { quarter }) else { panic!("no level") };
                (quarter, read) = (quarter + 1, said);
                String::new()
            }
            q if q.starts_with("The string's lean forward") => format!("{:.1} mm/m", read[0]),
            _ => format!("{:.1} mm/m", read[1]),
        })
    }

    fn play(&mut self) -> Calibration {
        let (mut sides, mut read) = ([Side::Forward, Side::Back, Side::Right, Side::Left].into_iter().cycle(), [0.0; 2]);
        self.calibrate(Procedure::Play, |shop, question| match question {
            q if q.starts_with("What may the level") => LEVEL.to_owned(),
            q if q.starts_with("Push the string") => {
                let ByHand::Level(said) = shop.pose(Pose::Pushed(sides.next().expect("around"))) else { panic!("no level") };
                read = said;
                String::new()
            }
            q if q.starts_with("The string's lean forward") => format!("{:.1} mm/m", read[0]),
            _ => format!("{:.1} mm/m", read[1]),
        })
    }

    fn encoder(&mut self) -> Calibration {
        let mut lengths = TAPED_MM.into_iter();
        let encoder = self.calibrate(Procedure::Encoder, |shop, _| {
            let Some(mm) = lengths.next() else { return "done".to_owned() };
            let ByHand::Tape(said) = shop.pose(Pose::Taped { mm }) else { panic!("no tape") };
            shop.go(mm, 400.0);
            format!("{:.0} mm", said + 1_000.0) // taped from a mark a metre above the hub
        });
        self.go(-400.0, 300.0);
        self.pose(Pose::Work);
        encoder
    }
}

/// That a figure found is the one drawn, within three of its own standard uncertainties and whatever else it stands on.
fn assert_found(what: &str, found: f64, drawn: f64, standard: f64) {
    assert!((found - drawn).abs() <= 3.0 * standard, "{what}: found {found}, drawn {drawn}, standard uncertainty {standard}");
}

fn worth(calibration: &Calibration) -> f64 {
    f64::from(calibration.uncertainty)
}

/// Errors of depth (m), of the toe as a place (m), and the half-widths stated for both.
fn off(shop: &Shop, setup: &SetUp, hole: usize) -> [(f64, f64); 2] {
    let judged = judge(setup);
    let truth = shop.scenario.truth(0, &shop.cab.bench.truth()[hole]).expect("cut");
    let (toe, budgets) = (judged.toe.expect("a toe"), judged.budgets.expect("a budget"));
    let place = (toe.ahead - truth.toe_mm.ahead / 1e3).hypot(toe.right - truth.toe_mm.right / 1e3);
    [((judged.depth.expect("a depth") - truth.floor_mm / 1e3).abs(), budgets.depth.expanded), (place, budgets.place.expanded)]
}

/// Calibrates the rig of a seed between two holes; how far off each hole's figures are, and what is stated.
fn calibrated_between(seed: u64) -> [[(f64, f64); 2]; 2] {
    let mut shop = Shop::with_errors_of(seed);
    let errors = shop.scenario.errors.clone();
    let before = shop.drill();
    assert!(before.instruments.as_ref().expect("listed").stamps.is_empty(), "nobody has calibrated anything");

    let zeros = DAYS.map(|day| shop.zero(day));
    let drift = shop.calibrate(Procedure::Drift, |_, question| panic!("a drift asks nothing: {question}"));
    let (mount, level, play, encoder) = (shop.mount(), shop.level(), shop.play(), shop.encoder());
    for axis in 0..2 {
        for zero in &zeros {
            let at_deg = f64::from(zero.values[2]) / 100.0;
            let drawn = 1e3 * (errors.tilt.zero_mg[axis] + errors.tilt.drift_mg_deg[axis] * (at_deg - 20.0));
            assert_found("zero, µg", f64::from(zero.values[axis]), drawn, worth(zero));
        }
        assert_found("drift, 0.1 µg a degree", f64::from(drift.values[axis]), errors.tilt.drift_mg_deg[axis] * 1e4, worth(&drift));
        // What the zero is wrong by is taken off here and put on again in the hole, so the level carries it along.
        let standard = worth(&level).hypot(worth(&zeros[1]));
        assert_found("tool level, µm/m", f64::from(level.values[axis]), errors.tool.level_mm_m[axis] * 1e3, standard);
    }
    assert_found("mount, 0.01°", f64::from(mount.values[0]), errors.tilt.mount_deg * 100.0, worth(&mount));
    assert_found("play, µm/m", f64::from(play.values[0]), errors.tool.play_mm_m * 1e3, worth(&play));
    let points: Vec<_> = encoder.values.chunks(2).map(|p| (f64::from(p[0]), f64::from(p[1]) / 1e3)).collect();
    let [.., (last, length)] = points[..] else { panic!("no table") };
    let counts = |mm: f64| (mm + errors.depth.miscounted_mm(mm)) * COUNTS_PER_MM;
    let run = counts(TAPED_MM[TAPED_MM.len() - 1]) - counts(TAPED_MM[0]);
    let drawn = (TAPED_MM[TAPED_MM.len() - 1] - TAPED_MM[0]) / run;
    assert_found(
        "encoder over all it was taped, µm",
        (length - points[0].1) / (last - points[0].0) * run * 1e3,
        drawn * run * 1e3,
        worth(&encoder),
    );

    let after = shop.drill();
    let stamps = &after.instruments.as_ref().expect("listed").stamps;
    let mut listed: Vec<_> = stamps.iter().filter_map(|stamp| CalibrationItem::from_raw(stamp.item)).collect();
    listed.sort_by_key(|item| ITEMS.iter().position(|i| i == item));
    assert_eq!(listed, ITEMS);
    assert!(stamps.iter().all(|stamp| stamp.who == "Sim. Fitter" && stamp.expires >= DAYS[1].0 + 364), "{stamps:?}");

    [off(&shop, &before, 0), off(&shop, &after, 1)]
}

#[test]
fn each_error_of_a_rig_is_found_and_its_next_hole_measured_better() {
    let rigs: Vec<_> = (1..=6).map(calibrated_between).collect();
    for (figure, name) in ["depth", "toe"].into_iter().enumerate() {
        for [before, after] in &rigs {
            let ((_, stated_before), (off, stated)) = (before[figure], after[figure]);
            assert!(off <= stated && stated <= 0.6 * stated_before, "{name}: {off} m of {stated} m, {stated_before} m before");
        }
        let mean = |hole: usize| rigs.iter().map(|rig| rig[hole][figure].0).sum::<f64>() / 6.0;
        assert!(mean(1) <= 0.5 * mean(0), "{name}: {} m after {} m", mean(1), mean(0));
    }
}
