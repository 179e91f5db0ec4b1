//! Writes what `postcard` reads, byte for byte, without an index that could panic: its own writer of varints has one, and
//! nothing in a rig's image may.
//!
//! Only what bodies are made of: integers of up to 32 bits, booleans, texts, lists, arrays and structures.

use core::fmt::{Display, Formatter};
use serde::ser::{Impossible, Serialize, SerializeSeq, SerializeStruct, SerializeTuple, Serializer, StdError};

/// Writes a value at the front of `into` and returns how many bytes it took; `None` where there is no room.
#[must_use]
pub fn to_slice(value: &impl Serialize, into: &mut [u8]) -> Option<usize> {
    let room = into.len();
    let mut rest = Rest(into);
    value.serialize(&mut rest).ok()?;
    room.checked_sub(rest.0.len())
}

/// No room, or a kind of value that no body has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unfit;

impl Display for Unfit {
    fn fmt(&self, f: &mut Formatter<'_>) -> core::fmt::Result {
        f.write_str("does not fit")
    }
}

impl StdError for Unfit {}

impl serde::ser::Error for Unfit {
    fn custom<T: Display>(_: T) -> Self {
        Self
    }
}

/// What is still free.
#[derive(Debug)]
struct Rest<'a>(&'a mut [u8]);

impl Rest<'_> {
    fn byte(&mut self, byte: u8) -> Result<(), Unfit> {
        let (first, rest) = core::mem::take(&mut self.0).split_first_mut().ok_or(Unfit)?;
        *first = byte;
        self.0 = rest;
        Ok(())
    }

    fn bytes(&mut self, bytes: &[u8]) -> Result<(), Unfit> {
        bytes.iter().try_for_each(|&byte| self.byte(byte))
    }

    /// Seven bits to a byte, the lowest first; the high bit says that more follow.
    fn varint(&mut self, value: u32) -> Result<(), Unfit> {
        let mut value = value;
        while value >= 0x80 {
            let [low, ..] = value.to_le_bytes();
            self.byte(low | 0x80)?;
            value >>= 7;
        }
        let [low, ..] = value.to_le_bytes();
        self.byte(low)
    }

    fn length(&mut self, length: usize) -> Result<(), Unfit> {
        self.varint(u32::try_from(length).map_err(|_| Unfit)?)
    }

    /// Zig-zag: the sign in the lowest bit.
    fn zig_zag(&mut self, value: i32) -> Result<(), Unfit> {
        self.varint((value.cast_unsigned() << 1) ^ (value >> 31).cast_unsigned())
    }
}

/// Kinds of values that no body has.
macro_rules! unfit {
    ($($name:ident($type:ty)),* $(,)?) => {$(
        fn $name(self, _: $type) -> Result<(), Unfit> {
            Err(Unfit)
        }
    )*};
}

impl<'r, 'a> Serializer for &'r mut Rest<'a> {
    type Ok = ();
    type Error = Unfit;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Impossible<(), Unfit>;
    type SerializeTupleVariant = Impossible<(), Unfit>;
    type SerializeMap = Impossible<(), Unfit>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Impossible<(), Unfit>;

    fn is_human_readable(&self) -> bool {
        false
    }
    fn serialize_bool(self, value: bool) -> Result<(), Unfit> {
        self.byte(value.into())
    }
    fn serialize_u8(self, value: u8) -> Result<(), Unfit> {
        self.byte(value)
    }
    fn serialize_i8(self, value: i8) -> Result<(), Unfit> {
        self.byte(value.cast_unsigned())
    }
    fn serialize_u16(self, value: u16) -> Result<(), Unfit> {
        self.varint(value.into())
    }
    fn serialize_i16(self, value: i16) -> Result<(), Unfit> {
        self.zig_zag(value.into())
    }
    fn serialize_u32(self, value: u32) -> Result<(), Unfit> {
        self.varint(value)
    }
    fn serialize_i32(self, value: i32) -> Result<(), Unfit> {
        self.zig_zag(value)
    }
    fn serialize_str(self, text: &str) -> Result<(), Unfit> {
        self.length(text.len())?;
        self.bytes(text.as_bytes())
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Result<(), Unfit> {
        value.serialize(self)
    }
    fn serialize_seq(self, length: Option<usize>) -> Result<Self, Unfit> {
        self.length(length.ok_or(Unfit)?)?;
        Ok(self)
    }
    fn serialize_tuple(self, _: usize) -> Result<Self, Unfit> {
        Ok(self)
    }
    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, Unfit> {
        Ok(self)
    }

    unfit! { serialize_i64(i64), serialize_u64(u64), serialize_f32(f32), serialize_f64(f64), serialize_char(char), serialize_bytes(&[u8]), serialize_unit_struct(&'static str) }
    fn serialize_none(self) -> Result<(), Unfit> {
        Err(Unfit)
    }
    fn serialize_some<T: Serialize + ?Sized>(self, _: &T) -> Result<(), Unfit> {
        Err(Unfit)
    }
    fn serialize_unit(self) -> Result<(), Unfit> {
        Err(Unfit)
    }
    fn serialize_unit_variant(self, _: &'static str, _: u32, _: &'static str) -> Result<(), Unfit> {
        Err(Unfit)
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(self, _: &'static str, _: u32, _: &'static str, _: &T) -> Result<(), Unfit> {
        Err(Unfit)
    }
    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self::SerializeTupleStruct, Unfit> {
        Err(Unfit)
    }
    fn serialize_tuple_variant(self, _: &'static str, _: u32, _: &'static str, _: usize) -> Result<Self::SerializeTupleVariant, Unfit> {
        Err(Unfit)
    }
    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, Unfit> {
        Err(Unfit)
    }
    fn serialize_struct_variant(self, _: &'static str, _: u32, _: &'static str, _: usize) -> Result<Self::SerializeStructVariant, Unfit> {
        Err(Unfit)
    }
    fn collect_str<T: Display + ?Sized>(self, _: &T) -> Result<(), Unfit> {
        Err(Unfit)
    }
}

impl SerializeSeq for &mut Rest<'_> {
    type Ok = ();
    type Error = Unfit;
    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Unfit> {
        value.serialize(&mut **self)
    }
    fn end(self) -> Result<(), Unfit> {
        Ok(())
    }
}

impl SerializeTuple for &mut Rest<'_> {
    type Ok = ();
    type Error = Unfit;
    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), Unfit> {
        value.serialize(&mut **self)
    }
    fn end(self) -> Result<(), Unfit> {
        Ok(())
    }
}

impl SerializeStruct for &mut Rest<'_> {
    type Ok = ();
    type Error = Unfit;
    fn serialize_field<T: Serialize + ?Sized>(&mut self, _: &'static str, value: &T) -> Result<(), Unfit> {
        value.serialize(&mut **self)
    }
    fn end(self) -> Result<(), Unfit> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Micrometres;
    use heapless::{String, Vec};
    use proptest::prelude::{prop_assert_eq, proptest};

    /// Of everything that bodies are made of.
    #[derive(serde::Serialize)]
    struct Everything {
        byte: u8,
        signed_byte: i8,
        flag: bool,
        short: u16,
        signed_short: i16,
        word: u32,
        depth: Micrometres,
        digest: [u8; 8],
        text: String<24>,
        list: Vec<i32, 16>,
    }

    proptest! {
        #[test]
        fn what_it_writes_is_what_postcard_writes(
            byte: u8, signed_byte: i8, flag: bool, short: u16, signed_short: i16, word: u32, depth: i32, digest: [u8; 8],
            text in "\\PC{0,6}", list in proptest::collection::vec(proptest::num::i32::ANY, 0..=16), room in 0usize..160,
        ) {
            let (text, list) = (String::try_from(text.as_str()).unwrap(), Vec::from_slice(&list).unwrap());
            let depth = Micrometres(depth);
            let value = Everything { byte, signed_byte, flag, short, signed_short, word, depth, digest, text, list };
            let (mut theirs, mut ours) = ([0; 160], [0; 160]);
            let want = postcard::to_slice(&value, &mut theirs[..room]).ok().map(|used| used.len());
            prop_assert_eq!(to_slice(&value, &mut ours[..room]), want);
            prop_assert_eq!(&ours[..want.unwrap_or(0)], &theirs[..want.unwrap_or(0)]);
        }
    }

    #[test]
    fn the_ends_of_each_range_and_of_each_length_of_a_varint() {
        for shift in 0..32 {
            for value in [1u32 << shift, (1u32 << shift) - 1, u32::MAX] {
                let (mut theirs, mut ours) = ([0; 5], [0; 5]);
                let want = postcard::to_slice(&value, &mut theirs).unwrap().len();
                assert_eq!((to_slice(&value, &mut ours), ours), (Some(want), theirs), "{value}");
                let signed = value.cast_signed();
                let want = postcard::to_slice(&signed, &mut theirs).unwrap().len();
                assert_eq!((to_slice(&signed, &mut ours).unwrap(), &ours[..want]), (want, &theirs[..want]), "{signed}");
            }
        }
        assert_eq!(to_slice(&1u64, &mut [0; 16]), None, "no body has one");
    }
}
