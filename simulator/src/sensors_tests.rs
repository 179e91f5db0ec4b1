//! Sensors against the world's truth: signs, scales, quantisation, and every fault.

use super::*;
use crate::pose::Held;
use crate::scenario::{STILL_HOLE, Scenario, TWO_POLE};
use crate::world::{Lever, Place};
use shared_protocol::units::RigAxes;

const ASK_COUNT: Request = Request { unit: ENCODER_UNIT, function: 4, address: 0, count: 2 };
const ASK_FORCE: Request = Request { unit: TILT_UNIT, function: 4, address: 0, count: 3 };

fn set_up(text: &str) -> (World, Sensors) {
    let scenario = Scenario::parse("test", text).unwrap();
    let mut world = World::new(&scenario, 1).unwrap();
    world.set_up(&scenario.hole[0]);
    (world, Sensors::new(1, &scenario))
}

fn leaning(world: &mut World, forward: f64, right: f64) {
    world.lean_by_hand(RigAxes { forward, right });
    (0..60_000).for_each(|_| world.step());
}

fn ask(sensors: &mut Sensors, world: &World, request: Request) -> Option<Answer> {
    OnLine { sensors, world }.answer(&request, world.now())
}

/// The sign vector: a toe that goes 12 mm/m forward makes the specific force on the forward axis +0.012 of its
/// norm, and so to each side.
#[test]
fn the_sign_of_each_lean() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    for (forward, right, want) in
        [(12.0, 0.0, [120, 0, 9_999]), (-12.0, 0.0, [-120, 0, 9_999]), (0.0, 12.0, [0, 120, 9_999]), (0.0, -12.0, [0, -120, 9_999])]
    {
        leaning(&mut world, forward, right);
        assert_eq!(sensors.force(&world), want, "{forward} {right}");
    }
    leaning(&mut world, 0.0, 0.0);
    assert_eq!(sensors.force(&world), [0, 0, 10_000]);
}

/// The table of check-values §6.1 and §6.2: 17.452 mg at one degree, 20.8288 mg at a quarter inch in a foot.
#[test]
fn handbook_angles() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    leaning(&mut world, 17.4524, 0.0);
    assert_eq!(sensors.force(&world), [175, 0, 9_998]); // 174.524 and 9998.477 steps
    leaning(&mut world, 0.0, 20.8288);
    assert_eq!(sensors.force(&world), [0, 208, 9_998]); // 208.288 and 9997.831 steps
}

#[test]
fn the_frame_of_a_lean_forward_is_this_to_the_byte() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    leaning(&mut world, 12.0, -5.0);
    let answer = ask(&mut sensors, &world, ASK_FORCE).unwrap();
    // Unit 2, function 4, six bytes: +120, -50, +9999 high byte first; the check is CRC-16/MODBUS.
    assert_eq!(answer.bytes[..9], [0x02, 0x04, 0x06, 0x00, 0x78, 0xFF, 0xCE, 0x27, 0x0F]);
    assert_eq!(with_check(answer.bytes[..9].to_vec()), answer.bytes);
}

#[test]
fn counts_are_a_tenth_of_a_millimetre_and_rise_with_depth() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    for depth_mm in [0.0, -150.0, -321.04, -321.06] {
        world.lever = Lever::To { depth_mm, speed_mm_s: 500.0 };
        (0..5_000).for_each(|_| world.step());
        assert_eq!(world.tip_mm(), depth_mm);
        assert_eq!(sensors.count(&world), 12_000 + round_i32(depth_mm * 10.0));
    }
    let answer = ask(&mut sensors, &world, ASK_COUNT).unwrap();
    assert_eq!(answer.bytes[..7], [0x01, 0x04, 0x04, 0x00, 0x00, 0x22, 0x55]); // 12000 - 3211 = 8789
}

#[test]
fn a_longer_tool_reaches_deeper_at_the_same_count() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    let (count, tip) = (sensors.count(&world), world.tip_mm());
    assert!(world.mount(1) && !world.mount(77));
    assert_eq!((sensors.count(&world), world.tip_mm()), (count, tip - 400.0)); // tool 2 is 1.3 m, tool 1 0.9 m
}

#[test]
fn after_a_power_cut_the_count_begins_at_zero() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    sensors.power_up(&world);
    assert_eq!(sensors.count(&world), 0);
    world.lever = Lever::To { depth_mm: world.tip_mm() + 100.0, speed_mm_s: 500.0 };
    (0..2_000).for_each(|_| world.step());
    assert_eq!(sensors.count(&world), 1_000);
}

#[test]
fn vibration_is_felt_and_slewing_leans_the_reading_but_not_in_a_still_world() {
    let spread = |text: &str| {
        let (mut world, mut sensors) = set_up(text);
        world.slew(Place::Hole);
        (0..100).for_each(|_| world.step());
        let slewing: i32 = (0..100).map(|_| sensors.force(&world)[0]).sum();
        world.turning = true;
        (0..10_000).for_each(|_| world.step());
        let turning: Vec<i32> = (0..100).map(|_| sensors.force(&world)[1]).collect();
        (slewing / 100, turning.iter().max().unwrap() - turning.iter().min().unwrap())
    };
    let (slewing, range) = spread(TWO_POLE);
    // 2 rpm at 4 m is 17.9 mg towards the cab (centripetal acceleration), read as too little forward.
    assert!((-180 + 10..-180 + 50).contains(&slewing) && range > 5, "{slewing} {range}");
    assert_eq!(spread(STILL_HOLE), (120, 0));
}

#[test]
fn every_fault_is_what_it_is_called_and_ends() {
    for sensor in [SensorName::Encoder, SensorName::Tilt] {
        let (mut world, mut sensors) = set_up(STILL_HOLE);
        let request = if sensor == SensorName::Encoder { ASK_COUNT } else { ASK_FORCE };
        let good = ask(&mut sensors, &world, request).unwrap();
        let until = world.now().plus_ms(1_000);
        let mut failing = |kind| {
            sensors.fail(sensor, kind, until, &world);
            ask(&mut sensors, &world, request)
        };
        assert_eq!(failing(FaultKind::Silent), None);
        assert_eq!(failing(FaultKind::Exception).unwrap().bytes, request.exception(4));
        let slow = failing(FaultKind::Slow).unwrap();
        assert!(slow.bytes == good.bytes && (10_000..70_000).contains(&slow.late_us));
        let stranger = failing(FaultKind::WrongUnit).unwrap().bytes;
        assert!(
            stranger[0] == request.unit + 10
                && stranger[1..3] == good.bytes[1..3]
                && with_check(stranger[..stranger.len() - 2].to_vec()) == stranger
        );
        let bad = failing(FaultKind::BadCrc).unwrap().bytes;
        assert!(bad[..bad.len() - 2] == good.bytes[..good.bytes.len() - 2] && bad != good.bytes);
        for _ in 0..50 {
            let nonsense = failing(FaultKind::Nonsense).unwrap().bytes;
            assert_eq!(with_check(nonsense[..nonsense.len() - 2].to_vec()), nonsense, "the check is right");
            assert_ne!(nonsense, good.bytes);
        }
        assert_ne!(failing(FaultKind::Jump).unwrap().bytes, good.bytes);
        assert_eq!(failing(FaultKind::Stuck).unwrap().bytes, good.bytes);
        leaning(&mut world, -9.0, 9.0);
        world.lever = Lever::To { depth_mm: 0.0, speed_mm_s: 500.0 };
        (0..2_000).for_each(|_| world.step());
        assert_ne!(ask(&mut sensors, &world, request).unwrap(), good, "the fault has ended");
    }
}

#[test]
fn a_stuck_sensor_shows_what_was_when_it_stuck() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    let good = ask(&mut sensors, &world, ASK_COUNT).unwrap();
    sensors.fail(SensorName::Encoder, FaultKind::Stuck, Moment(u64::MAX), &world);
    world.lever = Lever::To { depth_mm: 0.0, speed_mm_s: 500.0 };
    (0..2_000).for_each(|_| world.step());
    assert_eq!(ask(&mut sensors, &world, ASK_COUNT).unwrap(), good);
    sensors.mend(SensorName::Encoder);
    assert_ne!(ask(&mut sensors, &world, ASK_COUNT).unwrap(), good);
}

#[test]
fn other_units_are_not_here_and_other_functions_and_registers_are_refused() {
    let (world, mut sensors) = set_up(STILL_HOLE);
    assert_eq!(ask(&mut sensors, &world, Request { unit: 3, ..ASK_COUNT }), None);
    assert_eq!(ask(&mut sensors, &world, Request { unit: 0, ..ASK_COUNT }), None);
    let code = |sensors: &mut Sensors, request| ask(sensors, &world, request).unwrap().bytes[2];
    assert_eq!(code(&mut sensors, Request { function: 6, ..ASK_COUNT }), 1);
    assert_eq!(code(&mut sensors, Request { address: 1, ..ASK_COUNT }), 2);
    assert_eq!(code(&mut sensors, Request { count: 0, ..ASK_COUNT }), 3);
    let holding = ask(&mut sensors, &world, Request { function: 3, ..ASK_COUNT }).unwrap().bytes;
    assert_eq!(holding[3..7], ask(&mut sensors, &world, ASK_COUNT).unwrap().bytes[3..7]);
}

/// check-values §6.4: a plate that leans (f, r) reads (r, −f) a quarter turn clockwise on and (−f, −r) after half of
/// one, whatever the mast does; the zero comes on top.
#[test]
fn on_a_plate_the_mast_does_not_matter() {
    let (mut world, mut sensors) = set_up(&format!("{STILL_HOLE}\n[errors.tilt]\nzero_mg = [1.0, 2.0]\nmount_deg = 30.0\n"));
    for (force_g, want) in [([0.005, -0.006], [60, -40]), ([-0.006, -0.005], [-50, -30]), ([-0.005, 0.006], [-40, 80])] {
        assert!(world.hold(Held::Plate([force_g[0], force_g[1], 1.0])));
        let [f, r, _] = sensors.force(&world);
        assert_eq!([f, r], want);
    }
    assert!(world.hold(Held::Free));
    let [f, r, _] = sensors.force(&world);
    assert_eq!([f, r], [10 + 79, 20 - 103]); // 12, −5 seen by a sensor turned clockwise by 30°: 7.892, −10.330
}

#[test]
fn beside_hub_and_hole_the_tip_goes_down_freely_and_must_come_up_again() {
    let (mut world, mut sensors) = set_up(STILL_HOLE);
    assert!(world.hold(Held::Beside));
    world.lever = Lever::To { depth_mm: 4_000.0, speed_mm_s: 500.0 };
    (0..12_000).for_each(|_| world.step());
    assert_eq!((world.tip_mm(), sensors.count(&world)), (4_000.0, 52_000));
    assert!(!world.hold(Held::Free) && world.truth().is_empty(), "it is deep in the open");
    world.lever = Lever::To { depth_mm: -400.0, speed_mm_s: 500.0 };
    (0..12_000).for_each(|_| world.step());
    assert!(world.hold(Held::Free));
    world.lever = Lever::To { depth_mm: 4_000.0, speed_mm_s: 500.0 };
    (0..12_000).for_each(|_| world.step());
    assert_eq!(world.tip_mm(), 0.0, "the hub is there again");
}

/// The whole map and any part of it: the temperature is in the fourth register, signed, in hundredths of a degree.
#[test]
fn the_tilt_sensors_temperature_is_read_with_the_rest_or_alone() {
    let (mut world, mut sensors) = set_up(&format!("{STILL_HOLE}\n[errors.warmth]\nday_deg = -23.5\n"));
    let read = |sensors: &mut Sensors, world: &World, address, count| {
        let bytes = ask(sensors, world, Request { address, count, ..ASK_FORCE }).unwrap().bytes;
        bytes[3..bytes.len() - 2].as_chunks::<2>().0.iter().map(|pair| i16::from_be_bytes(*pair)).collect::<Vec<_>>()
    };
    assert_eq!(read(&mut sensors, &world, 0, 4), [120, -50, 9_999, -350]);
    assert_eq!((read(&mut sensors, &world, 3, 1), read(&mut sensors, &world, 2, 2)), (vec![-350], vec![9_999, -350]));
    world.another_day(36.25);
    assert_eq!(read(&mut sensors, &world, 3, 1), [3_625]);
    assert_eq!(ask(&mut sensors, &world, Request { count: 5, ..ASK_FORCE }).unwrap().bytes[2], 2);
}

/// A tilt sensor without noise would look stuck: it changes by a step now and then. An encoder at rest does not.
#[test]
fn a_still_tilt_sensor_flickers_by_a_step() {
    let (world, mut sensors) = set_up(STILL_HOLE);
    let forces: Vec<_> = (0..200).map(|_| ask(&mut sensors, &world, ASK_FORCE).unwrap().bytes).collect();
    assert!(forces.chunks(50).all(|some| some.iter().filter(|bytes| bytes[7..9] == [0x27, 0x0E]).count() >= 1));
    assert!(forces.iter().filter(|bytes| bytes[3..9] == [0x00, 0x78, 0xFF, 0xCE, 0x27, 0x0F]).count() >= 190);
    let count = ask(&mut sensors, &world, ASK_COUNT);
    assert!((0..200).all(|_| ask(&mut sensors, &world, ASK_COUNT) == count));
}
