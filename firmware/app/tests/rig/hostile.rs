//! The whole rig on any input: whatever sensors, hosts, clocks and a damaged memory say, nothing panics and nothing
//! overflows, and afterwards it does its work.

use crate::bench::{Bench, HUB_COUNT, Ram, plan};
use firmware_app::reading::{Reading, Sensed};
use proptest::collection::vec;
use proptest::prelude::{BoxedStrategy, Just, ProptestConfig, Strategy, any, prop_assert, prop_assert_eq, prop_oneof, proptest};
use shared_protocol::frame::wrap;
use shared_protocol::message::{
    Acknowledge, Ask, Calibrate, ChangeTool, CloseHole, Command, ConfirmRefusal, LoadHole, Message, Outlook, Raw, Replay, SetClock,
    TakeNote, TouchHub,
};
use shared_protocol::record::{Calibration, Plan};
use shared_protocol::state::{Answer, SensorFault, SpecificForce};
use shared_protocol::units::{CentiDegrees, Lean, MicroG, Micrometres, RigAxes};

/// A ring of 80 slots, so that records give way to newer ones too.
const SMALL: usize = 4_096 + 32 * 80;

/// What may happen to a rig.
#[derive(Clone, Debug)]
enum Event {
    /// A round of the sensor line.
    Sensed(Sensed),
    /// The tool goes on boring, so many rounds at so many millimetres a second.
    Bored(u8, u8),
    /// Bytes of a host, sound or not.
    Bytes(Vec<u8>),
    /// A whole message.
    Said(Message<'static>),
    /// The cable takes so much.
    Room(usize),
    /// The power was cut.
    Restart,
}

fn figure() -> impl Strategy<Value = i32> + Clone {
    prop_oneof![any::<i32>(), Just(i32::MIN), Just(i32::MAX), Just(0), -50_000..50_000i32, 0..30_000_000i32]
}

fn whole() -> impl Strategy<Value = u32> {
    prop_oneof![any::<u32>(), Just(u32::MAX), 0..200u32]
}

fn fault<T>() -> impl Strategy<Value = Reading<T>>
where
    T: Clone + std::fmt::Debug,
{
    any::<u8>().prop_map(|raw| SensorFault::from_raw(raw % 12).map_or(Reading::Stale, Reading::Fault))
}

fn sensed() -> BoxedStrategy<Sensed> {
    let count = prop_oneof![figure().prop_map(Reading::Good), (0..12_000i32).prop_map(|c| Reading::Good(HUB_COUNT + c)), fault()];
    let force = |axes: (i32, i32, i32)| {
        let level = RigAxes { forward: MicroG(axes.0), right: MicroG(axes.1) };
        Reading::Good(SpecificForce { level, up: MicroG(axes.2) })
    };
    let near_plumb = (-200_000..200_000i32, -200_000..200_000i32, 950_000..1_050_000i32);
    let force = prop_oneof![(figure(), figure(), figure()).prop_map(force), near_plumb.prop_map(force), fault()];
    (count, force, any::<Option<i16>>()).prop_map(|(count, force, temperature)| Sensed { count, force, temperature }).boxed()
}

fn any_plan() -> BoxedStrategy<Plan> {
    let lengths = (figure(), figure(), figure(), figure(), figure());
    let angles = (figure(), figure(), figure());
    (lengths, angles, any::<[u8; 6]>(), "\\PC{0,5}")
        .prop_map(|((depth, hub, diameter, under, over), (limit, heading, within), small, text)| {
            let [leg, attempt, setup, units, datum, tool] = small;
            Plan {
                line: text.as_str().try_into().unwrap_or_default(),
                structure: text.as_str().try_into().unwrap_or_default(),
                operator: text.as_str().try_into().unwrap_or_default(),
                leg: leg % 8,
                attempt,
                setup,
                units,
                datum,
                depth: Micrometres(depth),
                hub_above_datum: Micrometres(hub),
                diameter: Micrometres(diameter),
                tool: tool % 5,
                depth_under: Micrometres(under),
                depth_over: Micrometres(over),
                plumb_limit: Lean(limit),
                heading: CentiDegrees(heading),
                heading_within: CentiDegrees(within),
            }
        })
        .boxed()
}

/// A plan that is accepted, with figures at the ends of what is.
fn extreme_plan() -> BoxedStrategy<Plan> {
    let end = |low: i32, high: i32| prop_oneof![Just(low), Just(high), low..=high];
    let lengths = (end(100_000, 30_000_000), end(-5_000_000, 5_000_000), end(0, 5_000_000), end(0, 5_000_000));
    (lengths, end(1_000, 200_000), 1..4u8)
        .prop_map(|((depth, hub, under, over), limit, tool)| Plan {
            depth: Micrometres(depth),
            hub_above_datum: Micrometres(hub),
            depth_under: Micrometres(under),
            depth_over: Micrometres(over),
            plumb_limit: Lean(limit),
            tool,
            ..plan()
        })
        .boxed()
}

fn calibration() -> BoxedStrategy<Calibration> {
    let small = vec(prop_oneof![-9_000..9_000i32, 1..9i32, Just(1_000_000), Just(0)], 1..4);
    let table = (1..4_000i32, vec(1..3_000i32, 2..8)).prop_map(|(slope, steps)| {
        let sums = steps.iter().scan(0, |sum, step| Some(std::mem::replace(sum, *sum + step)));
        sums.flat_map(|count| [count, count * slope]).collect::<Vec<i32>>()
    });
    let values = prop_oneof![small, table, vec(figure(), 0..16)];
    (0..9u8, whole(), whole(), whole(), values)
        .prop_map(|(item, day, uncertainty, residual, values)| Calibration {
            item,
            who: "bench".try_into().unwrap(),
            day,
            expires: day.saturating_add(300),
            uncertainty,
            residual: residual % 50,
            values: values.iter().copied().collect(),
        })
        .boxed()
}

fn command() -> BoxedStrategy<Command> {
    prop_oneof![
        2 => any_plan().prop_map(|plan| Command::LoadHole(LoadHole { plan })),
        2 => extreme_plan().prop_map(|plan| Command::LoadHole(LoadHole { plan })),
        4 => Just(Command::TouchHub(TouchHub {})),
        2 => (0..6u8).prop_map(|tool| Command::ChangeTool(ChangeTool { tool })),
        1 => Just(Command::CloseHole(CloseHole {})),
        1 => "\\PC{0,30}".prop_map(|text| Command::TakeNote(TakeNote { text: text.as_str().try_into().unwrap_or_default(), ..TakeNote::default() })),
        1 => any::<(i64, i16)>().prop_map(|(unix_ms, offset)| Command::SetClock(SetClock { unix_ms, offset })),
        3 => calibration().prop_map(|calibration| Command::Calibrate(Calibrate { calibration })),
        1 => (0..3u8).prop_map(|confirmed| Command::ConfirmRefusal(ConfirmRefusal { confirmed })),
    ]
    .boxed()
}

fn message() -> BoxedStrategy<Message<'static>> {
    prop_oneof![
        1 => any::<u32>().prop_map(|host| Message::Ask(Ask { host })),
        2 => whole().prop_map(|from| Message::Replay(Replay { from })),
        2 => (0..3u32, whole(), any::<u32>()).prop_map(|(epoch, below, host)| Message::Acknowledge(Acknowledge { epoch, below, host })),
        9 => (whole(), command()).prop_map(|(request, command)| Message::Command { request, command }),
        1 => Just(Message::Outlook(Outlook::default())),
        1 => Just(Message::Raw(Raw::default())),
    ]
    .boxed()
}

fn event() -> BoxedStrategy<Event> {
    prop_oneof![
        8 => sensed().prop_map(Event::Sensed),
        5 => (1..12u8, 0..250u8).prop_map(|(rounds, speed)| Event::Bored(rounds, speed)),
        2 => vec(any::<u8>(), 0..100).prop_map(Event::Bytes),
        8 => message().prop_map(Event::Said),
        1 => (0..600usize).prop_map(Event::Room),
        1 => Just(Event::Restart),
    ]
    .boxed()
}

/// Time to the next event: usual, or any.
fn pause() -> impl Strategy<Value = u32> {
    prop_oneof![9 => 0..100u32, 1 => any::<u32>()]
}

fn happen(mut bench: Bench, pause: u32, event: Event) -> Bench {
    bench.now = bench.now.plus(pause);
    let usual = bench.sensed();
    match event {
        Event::Sensed(sensed) => bench.round(Some(sensed), &[]),
        Event::Bored(rounds, speed) => {
            for _ in 0..rounds {
                bench.tip_mm += f64::from(speed) * 0.05;
                bench.stay(50);
            }
        }
        Event::Bytes(bytes) => bench.round(Some(usual), &bytes),
        Event::Said(message) => bench.round(None, &wrap(&message).unwrap()),
        Event::Room(room) => bench.cable.room = room,
        Event::Restart => bench = bench.restart(),
    }
    bench
}

/// Whether it still does what it is asked.
fn serves(mut bench: Bench) -> Answer {
    bench.cable.room = 4_096;
    bench.stay(200);
    let usual = bench.sensed();
    bench.round(Some(usual), &[0]); // ends junk in the pipe, as a host does that starts afresh
    let note = TakeNote { author: "ground hand".try_into().unwrap(), text: "all well".try_into().unwrap() };
    let reply = bench.ask_as(0xFFFF_0001, Command::TakeNote(note));
    assert!(bench.live().0.at == u16::from_le_bytes([bench.now.0.to_le_bytes()[0], bench.now.0.to_le_bytes()[1]]));
    Answer::from_raw(reply.answer).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn whatever_happens_the_rig_goes_on(events in vec((pause(), event()), 1..50), begun: bool, start: u32) {
        let mut bench = Bench::on(Ram(vec![0; SMALL]));
        bench.now.0 = start;
        if begun {
            bench.open(plan());
            bench.touch();
            bench.go(60.0, 100.0);
        }
        let bench = events.into_iter().fold(bench, |bench, (pause, event)| happen(bench, pause, event));
        prop_assert_eq!(serves(bench), Answer::Done);
    }

    #[test]
    fn whatever_the_memory_holds_the_rig_starts(
        damage in vec((0..SMALL, any::<u8>()), 0..40), blanked in vec((0..80usize, any::<bool>()), 0..6), moved in vec((0..80usize, 0..80usize), 0..6),
        depth in 0.0..400.0f64, events in vec((pause(), event()), 0..10),
    ) {
        let mut bench = Bench::on(Ram(vec![0; SMALL]));
        bench.open(plan());
        bench.touch();
        bench.go(depth, 150.0);
        let mut memory = bench.rig.into_memory();
        for (slot, ones) in blanked {
            memory.0[4_096 + slot * 32..][..32].fill(if ones { 0xFF } else { 0 });
        }
        moved.iter().for_each(|&(from, to)| memory.0.copy_within(4_096 + from * 32..4_096 + from * 32 + 32, 4_096 + to * 32));
        damage.iter().for_each(|&(at, bits)| memory.0[at] ^= bits);
        let bench = events.into_iter().fold(Bench::on(memory), |bench, (pause, event)| happen(bench, pause, event));
        prop_assert!(serves(bench) == Answer::Done);
    }
}
