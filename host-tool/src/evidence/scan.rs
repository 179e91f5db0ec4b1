//! What the QR code of a print says, read from a photograph, and whether somebody who is trusted signed it.

use super::keys::{Role, Trusted};
use super::picture::{Grey, unpacked};
use super::review::signed_by;
use super::short::{HEAD, key_name};
use data_encoding::BASE64URL_NOPAD;
use rxing::common::HybridBinarizer;
use rxing::multi::MultipleBarcodeReader;
use rxing::qrcode::cpp_port::QrReader;
use rxing::{BinaryBitmap, DecodeHints, Luma8Source};
use std::borrow::Cow;

/// Bytes of a photograph.
pub const IMAGE_BYTES: u64 = 64 << 20;
/// How a photograph is looked at, one way after the other until a code is found: how often it is made twice as large, or half as
/// large, and how far each pixel is averaged with its neighbours then, pixels. Noise averages out where it is blurred or made smaller,
/// and a module of less than two pixels is found where it is made larger.
const LOOKS: [(i32, &[usize]); 8] = [(0, &[]), (0, &[1]), (-1, &[]), (1, &[1]), (1, &[2]), (1, &[2, 2]), (-1, &[1]), (-2, &[])];
/// Pixels that are looked at at once.
const PIXELS: usize = 60_000_000;

/// Why a photograph says nothing; one line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ScanFault {
    /// No picture.
    #[error("it is no PNG or JPEG picture that can be read ({0}): take another")]
    Picture(String),
    /// No code in it, or a spoiled one.
    #[error("no code can be read in it: photograph the code alone, flat and sharp, from straight above")]
    NoCode,
    /// A code of something else.
    #[error("the code in it is not of an as-drilled certificate")]
    Foreign,
}

/// What a code says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scanned {
    /// Its lines, without keys and signature.
    pub text: String,
    /// Who signed it.
    pub signer: Signer,
}

/// Who signed a code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Signer {
    /// Nobody: it says itself that it is unreviewed.
    Nobody,
    /// A reviewer who is trusted.
    Trusted(String),
    /// A key that is not at hand, so that nothing is proven.
    Unknown(String),
    /// The signature is not that of the reviewer whose key it names: the code was changed or made up.
    Forged(String),
}

/// Reads every code in a picture, and returns the text of the first that is ours.
///
/// # Errors
/// See [`ScanFault`].
pub fn read(picture: &[u8]) -> Result<String, ScanFault> {
    let picture = unpacked(picture).map_err(ScanFault::Picture)?;
    let mut foreign = false;
    for (doublings, radii) in LOOKS {
        let Some(sized) = sized(&picture, doublings) else { continue };
        let grey = radii.iter().fold(sized, |grey, radius| Cow::Owned(grey.blurred(*radius)));
        for text in codes(&grey) {
            if text.starts_with(HEAD) {
                return Ok(text);
            }
            foreign = true;
        }
    }
    Err(if foreign { ScanFault::Foreign } else { ScanFault::NoCode })
}

/// A picture made twice as large, or half as large, so many times; `None` where that is too large to be looked at.
fn sized(picture: &Grey, doublings: i32) -> Option<Cow<'_, Grey>> {
    let pixels = picture.pixels.len();
    let becomes = if doublings < 0 { pixels >> (-2 * doublings) } else { pixels << (2 * doublings) };
    let once = |grey: Cow<'_, Grey>, _| Cow::Owned(if doublings < 0 { grey.halved() } else { grey.doubled() });
    (1..=PIXELS).contains(&becomes).then(|| (0..doublings.abs()).fold(Cow::Borrowed(picture), once))
}

/// The text of every code in a grey picture.
fn codes(grey: &Grey) -> Vec<String> {
    let (Ok(width), Ok(height)) = (u32::try_from(grey.width), u32::try_from(grey.height)) else { return Vec::new() };
    let Ok(source) = Luma8Source::new_with_slice(&grey.pixels, width, height) else { return Vec::new() };
    let mut bitmap = BinaryBitmap::new(HybridBinarizer::new(source));
    let hints = DecodeHints { TryHarder: Some(true), ..DecodeHints::default() };
    let found = QrReader.decode_multiple_with_hints(&mut bitmap, &hints);
    found.unwrap_or_default().iter().map(|code| code.getText().to_owned()).collect()
}

/// Looks who signed a code's text.
#[must_use]
pub fn signer(code: &str, trusted: &Trusted) -> Scanned {
    let lines = code.rsplit_once('\n').map_or("", |(lines, _)| lines).to_owned();
    let mut last = code.rsplit('\n').next().unwrap_or_default().split('.');
    let (_digest, name, signature, more) = (last.next(), last.next(), last.next(), last.next());
    let signer = match (name, signature, more) {
        (None, None, None) => Signer::Nobody,
        (Some(name), Some(signature), None) => {
            let of_name: Vec<_> = trusted.of(Role::Reviewer).filter(|key| key_name(&key.key) == name).collect();
            let bytes: Option<[u8; 64]> = BASE64URL_NOPAD.decode(signature.as_bytes()).ok().and_then(|bytes| bytes.try_into().ok());
            let signed = code.strip_suffix(signature).and_then(|text| text.strip_suffix('.')).zip(bytes);
            let by = of_name.iter().find(|key| signed.is_some_and(|(text, bytes)| signed_by(&key.key, text, &bytes)));
            match (by, of_name.is_empty()) {
                (Some(key), _) => Signer::Trusted(key.whose.clone()),
                (None, true) => Signer::Unknown(name.to_owned()),
                (None, false) => Signer::Forged(name.to_owned()),
            }
        }
        _ => Signer::Forged(name.unwrap_or_default().to_owned()),
    };
    Scanned { text: lines, signer }
}
