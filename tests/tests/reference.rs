//! Our arithmetic against packages and published examples of others, each named.

use firmware_app::correction::Correction;
use firmware_app::lean::LeanMeter;
use firmware_app::reading::{Reading, Sensed};
use host_tool::facts::SetUp;
use host_tool::judge::axis::Axis;
use host_tool::judge::distance::{distance_interval, radius};
use host_tool::judge::freedom::{circle, interval};
use host_tool::judge::spread::{COVERAGE, Shape, Spread};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use serde_json::{Value, json};
use shared_protocol::body::CoarseLean;
use shared_protocol::record::{Identity, Increment, Opened, Record};
use shared_protocol::state::SpecificForce;
use shared_protocol::units::{Lean, MicroG, Micrometres, Millis, RigAxes};
use tests::python::reference;

/// A fraction in −1 to 1.
fn signed(chance: &mut Pcg32) -> f64 {
    f64::from(chance.next_u32()) / f64::from(u32::MAX) * 2.0 - 1.0
}

#[allow(clippy::cast_possible_truncation)] // within a few g
fn micro_g(g: f64) -> MicroG {
    MicroG((g * 1e6).round() as i32)
}

fn lean_of(x: f64, y: f64, z: f64) -> RigAxes<Lean> {
    let mut meter = LeanMeter::default();
    let level = RigAxes { forward: micro_g(x), right: micro_g(y) };
    let force = Reading::Good(SpecificForce { level, up: micro_g(z) });
    for round in 0..20 {
        let _ = meter.take(MicroG(2_000_000), &Sensed { count: Reading::Good(0), force, temperature: None }, Millis(50 * round));
    }
    meter.lean(&Correction::default()).expect("plausible")
}

/// Source: roll = atan2(ay, az), pitch = atan2(−ax, √(ay² + az²)), equations 25 and 26 of application note AN3461, read
/// in public code that cites it; the Python package ahrs 0.4.0 does the same. A lean of ours is the sine: of −pitch
/// forward, and to the right sin(roll)·cos(pitch).
#[test]
fn lean_against_the_application_notes_equations_and_ahrs() {
    let mut chance = Pcg32::seed_from_u64(3461);
    let forces: Vec<[f64; 3]> = (0..200)
        .map(|_| {
            let (x, y) = (signed(&mut chance) * 0.2, signed(&mut chance) * 0.2);
            [x, y, (1.0 - x * x - y * y).sqrt()]
        })
        .collect();
    let angles = reference("tilt", &json!([forces]));
    for (force, angle) in forces.iter().zip(angles[0].as_array().expect("a list")) {
        let (roll, pitch) = (angle[0].as_f64().expect("roll").to_radians(), angle[1].as_f64().expect("pitch").to_radians());
        let lean = lean_of(force[0], force[1], force[2]);
        let (forward, right) = (f64::from(lean.forward.0) / 1e6, f64::from(lean.right.0) / 1e6);
        assert!((forward + pitch.sin()).abs() < 2e-6, "{force:?}: {forward} for {}", -pitch.sin());
        assert!((right - roll.sin() * pitch.cos()).abs() < 2e-6, "{force:?}: {right}");
    }
}

/// Source: the worked figures of the check values (arithmetic from the identity of the inclination from plumb).
#[test]
fn lean_against_worked_figures() {
    for (x, y, z, inclination) in
        [(0.017_452_4, 0.0, 0.999_847_7, 1.0), (0.014_998_3, 0.0, 0.999_887_5, 0.859_37), (0.0, 0.020_828_8, 0.999_783_1, 1.193_49)]
    {
        let lean = lean_of(x, y, z);
        let sine = f64::from(lean.forward.0).hypot(f64::from(lean.right.0)) / 1e6;
        assert!((sine.asin().to_degrees() - inclination).abs() < 1e-4, "{x} {y} {z}");
    }
}

/// A set-up with these increments, the ground at the hub, the rig's forward direction ahead on line.
fn bore(increments: &[(f64, f64, f64)], guide_mm: i32) -> SetUp {
    let mut slots = Vec::new();
    let mut add = |record: &Record| {
        let mut body = [0; shared_protocol::slot::RECORD_BYTES_MAX];
        let used = record.encode(&mut body).expect("fits");
        let first = u32::try_from(slots.len()).expect("few");
        slots.extend(shared_protocol::assemble::slots(first, 1, record.kind(), &body[..used]).expect("fits"));
    };
    add(&Record::Opened(Opened::default()));
    add(&Record::Identity(Identity { guide_height: Micrometres::from_mm(guide_mm), ..Identity::default() }));
    for &(depth, forward, right) in increments {
        let coarse = |lean: f64| CoarseLean::from_lean(Lean(micro_g(lean).0));
        let depth = Micrometres(micro_g(depth).0);
        add(&Record::Increment(Increment { depth, forward: coarse(forward), right: coarse(right), samples: 20, ..Increment::default() }));
    }
    host_tool::facts::read(&slots).remove(0)
}

/// Source: the tangential method of well surveys as the Python package wellpathpy 0.5.2 computes it, each interval with
/// the inclination at its lower end; 200 random profiles. A wall-guided axis is just that.
#[test]
fn wall_guided_axis_against_wellpathpy() {
    let mut chance = Pcg32::seed_from_u64(5);
    let profiles: Vec<Vec<(f64, f64, f64)>> = (0..200)
        .map(|_| {
            let (mut depth, mut lean) = (0.0, (signed(&mut chance) * 0.02, signed(&mut chance) * 0.02));
            let steps = 20 + chance.next_u32() % 120;
            let mut step = || {
                depth += 0.025 * f64::from(1 + chance.next_u32() % 3);
                lean = (lean.0 + signed(&mut chance) * 0.002, lean.1 + signed(&mut chance) * 0.002);
                // leans as an increment carries them: steps of 10 µm/m
                (depth, (lean.0 * 1e5).round() / 1e5, (lean.1 * 1e5).round() / 1e5)
            };
            (0..steps).map(|_| step()).collect()
        })
        .collect();
    let station =
        |&(depth, f, r): &(f64, f64, f64)| json!([depth, f.hypot(r).asin().to_degrees(), r.atan2(f).to_degrees().rem_euclid(360.0)]);
    let wells: Vec<Value> =
        profiles.iter().map(|p| Value::Array([json!([0.0, 0.0, 0.0])].into_iter().chain(p.iter().map(station)).collect())).collect();
    let answers = reference("well", &Value::Array(wells));
    for (profile, answer) in profiles.iter().zip(answers.as_array().expect("a list")) {
        let axis = Axis::of(&bore(profile, 1_400));
        for (point, place) in axis.points.iter().zip(&answer.as_array().expect("places")[1..]) {
            let (north, east) = (place[0].as_f64().expect("north"), place[1].as_f64().expect("east"));
            assert!((point.wall.ahead - north).abs() < 1e-6 && (point.wall.right - east).abs() < 1e-6, "{point:?} {place}");
        }
    }
}

/// Source: the Python package uncertainties 3.2.3, which differentiates the formula itself. The zero's error is common
/// to both ends of the stick, the noise is each end's own.
#[test]
fn propagation_against_uncertainties() {
    let mut chance = Pcg32::seed_from_u64(9);
    let problems: Vec<Value> = (0..100)
        .map(|_| {
            let mut between = |low: f64, high: f64| low + (high - low) * (signed(&mut chance) + 1.0) / 2.0;
            json!({ "guide": between(0.5, 3.0), "ground": between(-0.2, 0.2), "depth": between(1.0, 4.0), "start": between(-0.02, 0.02),
                "now": between(-0.02, 0.02), "common": between(0.0, 0.002), "noise_start": between(0.0, 0.002), "noise_now": between(0.0, 0.002) })
        })
        .collect();
    let answers = reference("propagate", &Value::Array(problems.clone()));
    for (problem, answer) in problems.iter().zip(answers.as_array().expect("a list")) {
        let get = |name: &str| problem[name].as_f64().expect(name);
        let arm = get("guide") + get("depth");
        let errors = [
            Shape::Normal(get("common")).times(get("depth") - get("ground")),
            Shape::Normal(get("noise_now")).times(arm),
            Shape::Normal(get("noise_start")).times(get("guide") + get("ground")),
        ];
        let ours = Spread::of(&errors).standard();
        let theirs = answer[1].as_f64().expect("a deviation");
        assert!((ours - theirs).abs() <= 1e-12 + 1e-9 * theirs, "{problem}: {ours} {theirs}");
    }
}

/// Several errors of all shapes, of sizes that differ by up to thirty times.
fn errors(chance: &mut Pcg32) -> Vec<Shape> {
    let many = 1 + chance.next_u32() % 6;
    let mut size = || 10f64.powf(1.5 * (signed(chance) + 1.0) / 2.0);
    (0..many).map(|n| [Shape::Normal, Shape::Rectangular, Shape::Disc][n as usize % 3](size())).collect()
}

fn listed(errors: &[Shape]) -> Value {
    let pair = |e: &Shape| match e {
        Shape::Normal(s) => json!(["normal", s]),
        Shape::Rectangular(a) => json!(["rectangular", a]),
        Shape::Disc(r) => json!(["disc", r]),
    };
    Value::Array(errors.iter().map(pair).collect())
}

/// Source: Monte Carlo with numpy and scipy (4,000,000 draws), the method of JCGM 101.
#[test]
fn intervals_and_regions_against_monte_carlo() {
    let mut chance = Pcg32::seed_from_u64(101);
    let ones: Vec<Vec<Shape>> = (0..12).map(|_| errors(&mut chance)).collect();
    let answers = reference("spread", &Value::Array(ones.iter().map(|e| listed(e)).collect()));
    for (errors, answer) in ones.iter().zip(answers.as_array().expect("a list")) {
        let (ours, theirs) = (Spread::of(errors).half_width(COVERAGE), answer.as_f64().expect("a width"));
        assert!((ours / theirs - 1.0).abs() < 0.003, "{errors:?}: {ours} {theirs}");
    }
    let mut three = || (errors(&mut chance), errors(&mut chance), f64::from(chance.next_u32() % 30));
    let pairs: Vec<(Vec<Shape>, Vec<Shape>, f64)> = (0..12).map(|_| three()).collect();
    let answers = reference("region", &Value::Array(pairs.iter().map(|(x, y, disc)| json!([listed(x), listed(y), disc])).collect()));
    for ((x, y, disc), answer) in pairs.iter().zip(answers.as_array().expect("a list")) {
        let (ours, theirs) = (radius(&Spread::of(x), &Spread::of(y), *disc, COVERAGE), answer.as_f64().expect("a radius"));
        assert!((ours / theirs - 1.0).abs() < 0.003, "{x:?} {y:?} {disc}: {ours} {theirs}");
    }
}

/// Source: the same Monte Carlo of a distance from a centre, near it and far. A guard is never less than the half-width.
#[test]
fn distances_against_monte_carlo() {
    let mut chance = Pcg32::seed_from_u64(102);
    let mut one = || (errors(&mut chance), errors(&mut chance), f64::from(chance.next_u32() % 30), f64::from(chance.next_u32() % 90));
    let problems: Vec<(Vec<Shape>, Vec<Shape>, f64, f64)> = (0..16).map(|_| one()).collect();
    let asked = problems.iter().map(|(x, y, disc, measured)| json!([listed(x), listed(y), disc, measured])).collect();
    let answers = reference("distance", &Value::Array(asked));
    for ((x, y, disc, measured), answer) in problems.iter().zip(answers.as_array().expect("a list")) {
        let (half_width, guard) = distance_interval(&Spread::of(x), &Spread::of(y), *disc, *measured, COVERAGE);
        let [theirs, beyond] = [0, 1].map(|n| answer[n].as_f64().expect("a width"));
        assert!((half_width / theirs - 1.0).abs() < 0.003, "{x:?} {y:?} {disc} {measured}: {half_width} {theirs}");
        assert!((guard / beyond.max(theirs) - 1.0).abs() < 0.003, "{x:?} {y:?} {disc} {measured}: {guard} {beyond}");
    }
}

/// Source: scipy's quantiles of Student's t and of Fisher's F with 2 and ν degrees of freedom.
#[test]
fn factors_of_few_readings_against_scipy() {
    let freedoms = [1.0, 1.5625, 2.0, 2.8203, 4.0, 6.0, 9.0, 17.3, 50.0, 400.0, 9_999.0];
    let answers = reference("student", &json!(freedoms));
    for (freedom, answer) in freedoms.into_iter().zip(answers.as_array().expect("a list")) {
        for (ours, theirs) in [interval(Some(freedom)), circle(Some(freedom))].into_iter().zip(answer.as_array().expect("a pair")) {
            let theirs = theirs.as_f64().expect("a factor");
            assert!((ours / theirs - 1.0).abs() < 1e-6, "{freedom}: {ours} {theirs}");
        }
    }
}

/// Source: JCGM 101:2008, 9.2 (additive model): four normal errors of standard deviation 1 give ±3.92, four rectangular
/// ones ±3.88, and three rectangular of 1 with one of 10 give ±17.0 where the guide's factor 1.96 would say ±19.9.
/// From memory, high confidence.
#[test]
fn the_additive_examples_of_jcgm_101() {
    let rectangle = |deviation: f64| Shape::Rectangular(deviation * 3.0_f64.sqrt());
    let width = |errors: &[Shape]| Spread::of(errors).half_width(COVERAGE);
    assert!((width(&[Shape::Normal(1.0); 4]) - 3.92).abs() < 0.01);
    assert!((width(&[rectangle(1.0); 4]) - 3.88).abs() < 0.01);
    let dominated = [rectangle(1.0), rectangle(1.0), rectangle(1.0), rectangle(10.0)];
    assert!((width(&dominated) - 17.0).abs() < 0.1, "{}", width(&dominated));
    assert!((1.96 * Spread::of(&dominated).standard() - 19.9).abs() < 0.1);
}
