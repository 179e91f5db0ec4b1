//! What the QR code of a print says, read from a photograph, and whether somebody who is trusted signed it.

use super::keys::{Role, Trusted};
use super::review::signed_by;
use super::short::{HEAD, key_name};
use data_encoding::BASE64URL_NOPAD;
use image::ImageReader;
use image::imageops::{FilterType, fast_blur, resize};
use rxing::common::HybridBinarizer;
use rxing::multi::MultipleBarcodeReader;
use rxing::qrcode::cpp_port::QrReader;
use rxing::{BinaryBitmap, DecodeHints, Luma8Source};
use std::io::Cursor;

/// Bytes of a photograph.
pub const IMAGE_BYTES: u64 = 64 << 20;
/// Pixels on each side that a photograph has at most.
const SIDE: u32 = 20_000;
/// Bytes that a photograph may take unpacked.
const UNPACKED_BYTES: u64 = 1 << 30;
/// How a photograph is looked at, one way after the other until a code is found: the factor by which it is made larger or smaller,
/// and how much it is blurred, pixels. Noise averages out where it is blurred or made smaller.
const LOOKS: [(f64, f32); 6] = [(1.0, 0.0), (1.0, 0.8), (2.0, 1.6), (0.5, 0.0), (2.0, 2.4), (0.25, 0.0)];
/// Pixels that are looked at at once.
const PIXELS: u64 = 60_000_000;

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
    let fault = |e: &dyn std::fmt::Display| ScanFault::Picture(e.to_string());
    let mut reader = ImageReader::new(Cursor::new(picture)).with_guessed_format().map_err(|e| fault(&e))?;
    let mut limits = image::Limits::default();
    (limits.max_image_width, limits.max_image_height, limits.max_alloc) = (Some(SIDE), Some(SIDE), Some(UNPACKED_BYTES));
    reader.limits(limits);
    let picture = reader.decode().map_err(|e| fault(&e))?;
    let mut foreign = false;
    let picture = picture.into_luma8();
    for (factor, blur) in LOOKS {
        let Some((width, height)) = sized(picture.dimensions(), factor) else { continue };
        let size = if factor == 1.0 { picture.clone() } else { resize(&picture, width, height, FilterType::Triangle) };
        let grey = if blur > 0.0 { fast_blur(&size, blur) } else { size };
        for text in codes(grey.as_raw(), width, height) {
            if text.starts_with(HEAD) {
                return Ok(text);
            }
            foreign = true;
        }
    }
    Err(if foreign { ScanFault::Foreign } else { ScanFault::NoCode })
}

/// A picture's size times a factor; `None` where that is too large to be looked at, or nothing.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a float to integer cast saturates
fn sized((width, height): (u32, u32), factor: f64) -> Option<(u32, u32)> {
    let times = |length: u32| (f64::from(length) * factor) as u32;
    let size = (times(width), times(height));
    let pixels = u64::from(size.0) * u64::from(size.1);
    (pixels > 0 && pixels <= PIXELS).then_some(size)
}

/// The text of every code in a grey picture.
fn codes(grey: &[u8], width: u32, height: u32) -> Vec<String> {
    let Ok(source) = Luma8Source::new_with_slice(grey, width, height) else { return Vec::new() };
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
