//! What travels the cable, either way, inside a [`frame`](crate::frame).
//!
//! Kinds 1 to 15 are the *drain* subset: any host can empty any rig with them, whatever either's version, so
//! they are read without looking at the version. Everything else is read only when versions agree.

use crate::body::Row;
use crate::record::{Calibration, Plan};
use crate::slot::{SLOT_BYTES, Slot, SlotFault};
use crate::units::{MicroG, Micrometres, Millis};
use crate::{VERSION, fixed_body, text_body};
use heapless::String;

/// The most slots that one message carries.
pub const SLOTS_MAX: usize = 7;
/// The most bytes of a message: version, kind and seven slots.
pub const MESSAGE_BYTES_MAX: usize = HEAD_BYTES + SLOTS_MAX * SLOT_BYTES;
/// Version and kind.
pub const HEAD_BYTES: usize = 2;

fixed_body! {
    /// Host to rig: who are you?
    pub struct Ask {
        /// A number that the host made for itself.
        pub host: u32,
    }
}

fixed_body! {
    /// Rig to host: identity, versions and what the memory holds.
    pub struct Hello {
        /// 1 where no real hole is drilled.
        pub simulated: u8,
        /// A factory reset begins a new epoch.
        pub epoch: u32,
        /// Starts counted.
        pub boot: u16,
        /// The rig's clock now.
        pub now: Millis,
        /// Sequence of the oldest slot still held.
        pub tail: u32,
        /// Sequence that the next slot will have.
        pub head: u32,
        /// All below this have been acknowledged by some host.
        pub acknowledged: u32,
        /// Slots that the memory can hold.
        pub capacity: u32,
        /// The rig's name, UTF-8, zero-filled.
        pub rig: [u8; 16],
        /// Firmware version, UTF-8, zero-filled.
        pub firmware: [u8; 12],
    }
}

fixed_body! {
    /// Host to rig: send me slots from here on, and go on with new ones as they come.
    pub struct Replay {
        /// First sequence wanted.
        pub from: u32,
    }
}

fixed_body! {
    /// Host to rig: I have everything below this on disk.
    pub struct Acknowledge {
        /// The epoch that it speaks of.
        pub epoch: u32,
        /// One more than the last sequence held.
        pub below: u32,
        /// The host that says so.
        pub host: u32,
    }
}

fixed_body! {
    /// Host to rig: send me these once more, then go on where you were. A rig that does not know it goes on.
    pub struct Repeat {
        /// First sequence wanted.
        pub first: u32,
        /// Last sequence wanted.
        pub last: u32,
    }
}

fixed_body! {
    /// Rig to host: one sample, for eyes only. Never evidence.
    pub struct Live {
        /// The rig's clock, its low 16 bits.
        pub at: u16,
        /// Tip below the hub.
        pub depth: Micrometres,
        /// Lean over the last moments, forward.
        pub forward: crate::body::CoarseLean,
        /// Lean over the last moments, to the right.
        pub right: crate::body::CoarseLean,
        /// A packed [`Status`](crate::state::Status).
        pub status: u16,
    }
}

fixed_body! {
    /// Rig to host, twice a second, for eyes only: how the hole stands.
    pub struct Outlook {
        /// The rig's clock.
        pub at: Millis,
        /// Deepest held, below the hub.
        pub bottom: Micrometres,
        /// Where the axis ends now by the stick model, forward.
        pub toe_forward: Micrometres,
        /// Where the axis ends now by the stick model, to the right.
        pub toe_right: Micrometres,
        /// Where it ends now by the wall-guided model, forward.
        pub wall_forward: Micrometres,
        /// Where it ends now by the wall-guided model, to the right.
        pub wall_right: Micrometres,
        /// Where the middle of both will end at planned depth if nothing changes, forward.
        pub planned_forward: Micrometres,
        /// Where the middle of both will end at planned depth if nothing changes, to the right.
        pub planned_right: Micrometres,
        /// Passes so far.
        pub pass: u16,
        /// Sequence of the open set-up's first slot.
        pub opened: u32,
        /// The encoder's fault, 0 where it has none.
        pub encoder_fault: u8,
        /// The tilt sensor's fault, 0 where it has none.
        pub tilt_fault: u8,
        /// Slots that no host has acknowledged.
        pub waiting: u32,
    }
}

fixed_body! {
    /// Rig to host: what became of a command.
    pub struct Reply {
        /// The command's number.
        pub request: u32,
        /// An [`Answer`](crate::state::Answer).
        pub answer: u8,
        /// Sequence of the record that it left, where it left one.
        pub sequence: u32,
    }
}

fixed_body! {
    /// Rig to host, twice a second, for calibrating: what the sensors give before any correction.
    pub struct Raw {
        /// The rig's clock.
        pub at: Millis,
        /// The encoder's count.
        pub count: i32,
        /// Mean specific force over the last second, forward.
        pub forward: MicroG,
        /// Mean specific force over the last second, to the right.
        pub right: MicroG,
        /// Mean specific force over the last second, along the tool.
        pub up: MicroG,
        /// Samples in the mean; 0 where the tilt sensor gives none.
        pub samples: u16,
        /// Standard deviation of the samples, both level axes together, steps of 10 µg.
        pub scatter: u16,
        /// Temperature, hundredths of a degree Celsius, or no temperature.
        pub temperature: i16,
        /// 1 where the count is good now.
        pub count_good: u8,
    }
}

text_body! {
    /// Host to rig: take this calibration into the configuration.
    pub struct Calibrate {
        /// The calibration.
        pub calibration: Calibration,
    }
}

fixed_body! {
    /// Host to rig: the operator says whether slow going was refusal.
    pub struct ConfirmRefusal {
        /// 1 refusal, 0 not.
        pub confirmed: u8,
    }
}

text_body! {
    /// Host to rig: open this hole.
    pub struct LoadHole {
        /// What is to be drilled.
        pub plan: Plan,
    }
}

fixed_body! {
    /// Host to rig: the tip is on the hub now.
    pub struct TouchHub {}
}

fixed_body! {
    /// Host to rig: another tool is on.
    pub struct ChangeTool {
        /// Its number in the rig's table.
        pub tool: u8,
    }
}

fixed_body! {
    /// Host to rig: the hole is finished or left.
    pub struct CloseHole {}
}

text_body! {
    /// Host to rig: record what somebody says.
    pub struct TakeNote {
        /// Who says so.
        pub author: String<24>,
        /// What.
        pub text: String<120>,
    }
}

fixed_body! {
    /// Host to rig: the time of day.
    pub struct SetClock {
        /// Milliseconds since 1970-01-01T00:00Z.
        pub unix_ms: i64,
        /// Local offset from UTC, minutes.
        pub offset: i16,
    }
}

fixed_body! {
    /// Host to rig: seal with this key from now on. The only message that carries a secret.
    pub struct Commission {
        /// The secret key (RFC 8032, section 5.1.5): 32 bytes of the host's best chance, which it then forgets.
        pub secret: crate::body::Secret,
    }
}

text_body! {
    /// Host to rig: forget everything, when some host has all of it: a factory reset.
    pub struct Decommission {
        /// The epoch that is to end, so that the command said twice ends no other.
        pub epoch: u32,
        /// Who asks.
        pub who: String<16>,
    }
}

/// The slots of a message: whole multiples of 32 bytes, each still to be checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slots<'a>(&'a [u8]);

impl<'a> Slots<'a> {
    /// Each slot, checked.
    pub fn iter(&self) -> impl Iterator<Item = Result<Slot, SlotFault>> + use<'a> {
        self.0.as_chunks::<SLOT_BYTES>().0.iter().map(Slot::check)
    }
}

/// Declares messages: number, name, layout.
macro_rules! messages {
    (plain { $($number:literal $name:ident),* $(,)? } commands { $($cnumber:literal $cname:ident),* $(,)? }) => {
        /// Any message of this version.
        #[derive(Clone, Debug, PartialEq, Eq)]
        #[allow(missing_docs, clippy::large_enum_variant)] // each variant is documented at its body; no heap to box on
        pub enum Message<'a> {
            $($name($name),)*
            /// Rig to host: evidence, raw.
            Slots(Slots<'a>),
            /// Host to rig: do something once, however often it is asked.
            Command {
                /// A number that no other command of any host has.
                request: u32,
                /// What to do.
                command: Command,
            },
        }

        /// What a host can ask a rig to do.
        #[derive(Clone, Debug, PartialEq, Eq)]
        #[allow(missing_docs, clippy::large_enum_variant)] // as above
        pub enum Command { $($cname($cname)),* }

        /// Number, name and layout of every message but [`Message::Slots`], for the document.
        pub const TABLE: &[(u8, &str, &[Row])] = &[$(($number, stringify!($name), $name::TABLE),)* $(($cnumber, stringify!($cname), $cname::TABLE)),*];

        impl Message<'_> {
            /// Its hand-assigned number.
            #[must_use]
            pub const fn kind(&self) -> u8 {
                match self {
                    $(Self::$name(_) => $number,)*
                    Self::Slots(_) => SLOTS_KIND,
                    $(Self::Command { command: Command::$cname(_), .. } => $cnumber),*
                }
            }

            fn encode_body(&self, into: &mut [u8]) -> Option<usize> {
                match self {
                    $(Self::$name(body) => body.encode(into),)*
                    Self::Slots(slots) => {
                        let into = into.get_mut(..slots.0.len())?;
                        into.iter_mut().zip(slots.0).for_each(|(to, from)| *to = *from);
                        Some(slots.0.len())
                    }
                    Self::Command { request, command } => {
                        let (number, into) = into.split_first_chunk_mut::<4>()?;
                        *number = request.to_le_bytes();
                        let used = match command { $(Command::$cname(body) => body.encode(into)),* }?;
                        used.checked_add(4)
                    }
                }
            }
        }

        fn decode_body(kind: u8, body: &[u8]) -> Result<Message<'_>, MessageFault> {
            let bad = MessageFault::Malformed(kind);
            match kind {
                $($number => $name::decode(body).map(Message::$name).ok_or(bad),)*
                SLOTS_KIND => (body.len().is_multiple_of(SLOT_BYTES) && !body.is_empty()).then_some(Message::Slots(Slots(body))).ok_or(bad),
                $($cnumber => {
                    let (request, body) = body.split_first_chunk::<4>().ok_or(bad)?;
                    let command = $cname::decode(body).map(Command::$cname).ok_or(bad)?;
                    Ok(Message::Command { request: u32::from_le_bytes(*request), command })
                })*
                _ => Err(MessageFault::Unknown(kind)),
            }
        }
    };
}

/// Number of [`Message::Slots`].
pub const SLOTS_KIND: u8 = 4;
/// The last number of the drain subset.
pub const DRAIN_LAST: u8 = 15;

messages! {
    plain { 1 Ask, 2 Hello, 3 Replay, 5 Acknowledge, 6 Repeat, 16 Live, 17 Outlook, 18 Reply, 19 Raw }
    commands { 32 LoadHole, 33 TouchHub, 34 ChangeTool, 35 CloseHole, 36 TakeNote, 37 SetClock, 38 Calibrate, 39 ConfirmRefusal, 40 Commission, 41 Decommission }
}

/// Why bytes are no message that this version understands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MessageFault {
    /// Shorter than version and kind.
    Short,
    /// Another version, and not of the drain subset.
    Version {
        /// What the sender speaks.
        theirs: u8,
    },
    /// No such kind in this version.
    Unknown(u8),
    /// The body does not fit its kind.
    Malformed(u8),
}

impl<'a> Message<'a> {
    /// A message of raw slots, 1 to [`SLOTS_MAX`] of them. `None` for other lengths.
    #[must_use]
    pub fn slots(raw: &'a [u8]) -> Option<Self> {
        let count = raw.len().checked_div(SLOT_BYTES)?;
        (raw.len().is_multiple_of(SLOT_BYTES) && (1..=SLOTS_MAX).contains(&count)).then_some(Self::Slots(Slots(raw)))
    }

    /// Writes version, kind and body, and returns how many bytes they took; `None` where there is no room.
    #[must_use]
    pub fn encode(&self, into: &mut [u8]) -> Option<usize> {
        let (head, body) = into.split_first_chunk_mut::<HEAD_BYTES>()?;
        *head = [VERSION, self.kind()];
        self.encode_body(body)?.checked_add(HEAD_BYTES)
    }

    /// Reads a message; versions are compared before anything is parsed.
    ///
    /// # Errors
    /// See [`MessageFault`].
    pub fn decode(bytes: &'a [u8]) -> Result<Self, MessageFault> {
        let ([version, kind], body) = bytes.split_first_chunk::<HEAD_BYTES>().ok_or(MessageFault::Short)?;
        if *version != VERSION && *kind > DRAIN_LAST {
            return Err(MessageFault::Version { theirs: *version });
        }
        decode_body(*kind, body)
    }
}

/// A text as a zero-filled field; what does not fit is left off at a character boundary.
#[must_use]
pub fn text_field<const N: usize>(text: &str) -> [u8; N] {
    let mut field = [0; N];
    let end = text.floor_char_boundary(N);
    for (to, from) in field.iter_mut().zip(text.as_bytes().get(..end).unwrap_or(&[])) {
        *to = *from;
    }
    field
}

/// The text of a zero-filled field, "?" where it is not UTF-8.
#[must_use]
pub fn field_text(field: &[u8]) -> &str {
    let end = field.iter().position(|&b| b == 0).unwrap_or(field.len());
    field.get(..end).and_then(|used| core::str::from_utf8(used).ok()).unwrap_or("?")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::{any, prop_assert, proptest};

    #[test]
    fn a_later_version_is_said_and_still_drained() {
        let mut bytes = [0; MESSAGE_BYTES_MAX];
        let used = Message::Hello(Hello { head: 9, ..Hello::default() }).encode(&mut bytes).unwrap();
        bytes[0] = 7;
        assert!(matches!(Message::decode(&bytes[..used]), Ok(Message::Hello(Hello { head: 9, .. }))));
        let used = Message::Live(Live::default()).encode(&mut bytes).unwrap();
        bytes[0] = 7;
        assert_eq!(Message::decode(&bytes[..used]), Err(MessageFault::Version { theirs: 7 }));
    }

    #[test]
    fn a_hello_may_grow() {
        let mut bytes = [0; MESSAGE_BYTES_MAX];
        let used = Message::Hello(Hello { epoch: 3, ..Hello::default() }).encode(&mut bytes).unwrap();
        assert!(matches!(Message::decode(&bytes[..used + 20]), Ok(Message::Hello(Hello { epoch: 3, .. }))));
    }

    #[test]
    fn slots_come_in_whole_ones() {
        let slot = Slot::build(1, 1, 1, crate::slot::Part::ONLY, b"x").unwrap();
        let raw = [*slot.bytes(); 7].concat();
        let Some(message) = Message::slots(&raw) else { panic!() };
        let mut bytes = [0xA5; MESSAGE_BYTES_MAX];
        let used = message.encode(&mut bytes).unwrap();
        let Ok(Message::Slots(read)) = Message::decode(&bytes[..used]) else { panic!() };
        assert_eq!(read.iter().filter(|s| *s == Ok(slot)).count(), 7);
        assert_eq!(Message::slots(&raw[1..]), None);
        assert_eq!(Message::slots(&[]), None);
        assert_eq!(Message::decode(&bytes[..used - 1]), Err(MessageFault::Malformed(SLOTS_KIND)));
    }

    #[test]
    fn fields_of_text() {
        assert_eq!(field_text(&text_field::<4>("ab")), "ab");
        assert_eq!(field_text(&text_field::<4>("äöü")), "äö");
        assert_eq!(field_text(&text_field::<3>("äöü")), "ä");
        assert_eq!(field_text(&[0xFF, 0]), "?");
    }

    proptest! {
        #[test]
        fn any_bytes_are_judged_without_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            if let Ok(message) = Message::decode(&bytes) {
                let mut again = [0; 320];
                prop_assert!(message.encode(&mut again).is_some());
            }
        }
    }
}
