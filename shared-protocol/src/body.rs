//! How the body of a record is laid out: by hand, field after field, little-endian, for what fits one slot;
//! by postcard for what carries text.
//!
//! The macros keep a table of every layout, and `WIRE.md` is checked against those tables.

use crate::units::{CentiDegrees, Lean, MicroG, Micrometres, Millis};

/// One field of a hand-laid body.
pub trait Field: Copy {
    /// Bytes it takes.
    const BYTES: usize;
    /// Its type as the document names it.
    const NAME: &'static str;
    /// Writes itself at the front of `into` and returns what follows; `None` where there is no room.
    fn put(self, into: &mut [u8]) -> Option<&mut [u8]>;
    /// Reads itself off the front of `from` and returns what follows; `None` where that is too short.
    fn get(from: &[u8]) -> Option<(Self, &[u8])>;
}

macro_rules! integer_fields {
    ($($int:ty),*) => {$(
        impl Field for $int {
            const BYTES: usize = size_of::<$int>();
            const NAME: &'static str = stringify!($int);
            fn put(self, into: &mut [u8]) -> Option<&mut [u8]> {
                let (mine, rest) = into.split_at_mut_checked(Self::BYTES)?;
                mine.copy_from_slice(&self.to_le_bytes());
                Some(rest)
            }
            fn get(from: &[u8]) -> Option<(Self, &[u8])> {
                let (mine, rest) = from.split_first_chunk()?;
                Some((<$int>::from_le_bytes(*mine), rest))
            }
        }
    )*};
}
integer_fields!(u8, u16, u32, i8, i16, i32, i64);

macro_rules! unit_fields {
    ($($unit:ident($int:ty) = $name:literal),*) => {$(
        impl Field for $unit {
            const BYTES: usize = <$int as Field>::BYTES;
            const NAME: &'static str = $name;
            fn put(self, into: &mut [u8]) -> Option<&mut [u8]> {
                self.0.put(into)
            }
            fn get(from: &[u8]) -> Option<(Self, &[u8])> {
                let (value, rest) = <$int as Field>::get(from)?;
                Some((Self(value), rest))
            }
        }
    )*};
}
unit_fields!(
    Micrometres(i32) = "i32 µm",
    Lean(i32) = "i32 µm/m",
    MicroG(i32) = "i32 µg",
    Millis(u32) = "u32 ms",
    CentiDegrees(i32) = "i32 0.01°"
);

impl<const N: usize> Field for [u8; N] {
    const BYTES: usize = N;
    const NAME: &'static str = "bytes";
    fn put(self, into: &mut [u8]) -> Option<&mut [u8]> {
        let (mine, rest) = into.split_at_mut_checked(N)?;
        mine.copy_from_slice(&self);
        Some(rest)
    }
    fn get(from: &[u8]) -> Option<(Self, &[u8])> {
        let (mine, rest) = from.split_first_chunk()?;
        Some((*mine, rest))
    }
}

/// Bytes that no log and no message of a fault may show.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
pub struct Secret(pub [u8; 32]);

impl core::fmt::Debug for Secret {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("secret")
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Secret {
    fn format(&self, fmt: defmt::Formatter<'_>) {
        defmt::write!(fmt, "secret");
    }
}

impl Field for Secret {
    const BYTES: usize = 32;
    const NAME: &'static str = "32 bytes";
    fn put(self, into: &mut [u8]) -> Option<&mut [u8]> {
        self.0.put(into)
    }
    fn get(from: &[u8]) -> Option<(Self, &[u8])> {
        <[u8; 32]>::get(from).map(|(bytes, rest)| (Self(bytes), rest))
    }
}

/// A lean in steps of 10 µm/m, as increments carry it: ±327 mm/m in two bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CoarseLean(pub i16);

impl CoarseLean {
    /// The nearest step; the ends of the range stand for all beyond.
    #[must_use]
    pub fn from_lean(lean: Lean) -> Self {
        let steps = crate::units::div_round(i64::from(lean.0), 10);
        Self(i16::try_from(steps).unwrap_or(if steps < 0 { i16::MIN } else { i16::MAX }))
    }

    /// Back to parts per million.
    #[must_use]
    pub fn lean(self) -> Lean {
        Lean(i32::from(self.0).saturating_mul(10))
    }
}
unit_fields!(CoarseLean(i16) = "i16 10 µm/m");

/// One row of a layout's table: field name, type, bytes (0 where postcard decides).
pub type Row = (&'static str, &'static str, usize);

/// Declares a body laid out by hand: the struct, its bytes and its table.
#[macro_export]
macro_rules! fixed_body {
    ($(#[$meta:meta])* pub struct $name:ident { $($(#[$fmeta:meta])* pub $field:ident: $type:ty),* $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct $name { $($(#[$fmeta])* pub $field: $type),* }

        #[allow(clippy::arithmetic_side_effects)] // constants, checked by the compiler
        impl $name {
            /// Bytes of this body.
            pub const BYTES: usize = 0 $(+ <$type as $crate::body::Field>::BYTES)*;
            /// The layout, for the document.
            pub const TABLE: &'static [$crate::body::Row] =
                &[$((stringify!($field), <$type as $crate::body::Field>::NAME, <$type as $crate::body::Field>::BYTES)),*];

            /// Writes the body at the front of `into` and returns how many bytes it took.
            #[must_use]
            pub fn encode(&self, into: &mut [u8]) -> Option<usize> {
                $(let into = $crate::body::Field::put(self.$field, into)?;)*
                let _ = into;
                Some(Self::BYTES)
            }

            /// Reads the body from the front of `from`; later bytes belong to a later version and are left alone.
            #[must_use]
            pub fn decode(from: &[u8]) -> Option<Self> {
                $(let ($field, from) = $crate::body::Field::get(from)?;)*
                let _ = from;
                Some(Self { $($field),* })
            }
        }
    };
}

/// Declares a body that postcard lays out, because it carries text: the struct and its table.
#[macro_export]
macro_rules! text_body {
    ($(#[$meta:meta])* pub struct $name:ident { $($(#[$fmeta:meta])* pub $field:ident: $type:ty),* $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
        pub struct $name { $($(#[$fmeta])* pub $field: $type),* }

        impl $name {
            /// The layout, for the document.
            pub const TABLE: &'static [$crate::body::Row] = &[$((stringify!($field), stringify!($type), 0)),*];

            /// Writes the body at the front of `into` and returns how many bytes it took.
            #[must_use]
            pub fn encode(&self, into: &mut [u8]) -> Option<usize> {
                $crate::packed::to_slice(self, into)
            }

            /// Reads the body from the front of `from`; later bytes belong to a later version and are left alone.
            #[must_use]
            pub fn decode(from: &[u8]) -> Option<Self> {
                postcard::take_from_bytes(from).ok().map(|(value, _rest)| value)
            }
        }
    };
}
