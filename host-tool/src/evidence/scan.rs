//! What the QR code of a print says, read from a photograph, and whether somebody who is trusted signed it.

use super::keys::{Role, Trusted};
use super::review::signed_by;
use super::short::{HEAD, key_name};
use data_encoding::BASE64URL_NOPAD;
use image::ImageReader;
use std::io::Cursor;

/// Bytes of a photograph.
pub const IMAGE_BYTES: u64 = 64 << 20;
/// Pixels on each side that a photograph has at most.
const SIDE: u32 = 20_000;
/// Bytes that a photograph may take unpacked.
const UNPACKED_BYTES: u64 = 1 << 30;
/// Sides to which a photograph is brought, one after the other, until a code is found; noise averages out in smaller ones.
const SIDES: [u32; 4] = [4_000, 2_000, 1_400, 1_000];

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
    let largest = picture.width().max(picture.height());
    for side in std::iter::once(largest.min(SIDES[0])).chain(SIDES.into_iter().filter(|side| *side < largest)) {
        let grey = if side < largest { picture.thumbnail(side, side).to_luma8() } else { picture.to_luma8() };
        let (width, height) = (grey.width() as usize, grey.height() as usize);
        let value = |x: usize, y: usize| u32::try_from(x).ok().zip(u32::try_from(y).ok()).map_or(255, |(x, y)| grey.get_pixel(x, y).0[0]);
        let mut prepared = rqrr::PreparedImage::prepare_from_greyscale(width, height, value);
        for grid in prepared.detect_grids() {
            let Ok((_, text)) = grid.decode() else { continue };
            if text.starts_with(HEAD) {
                return Ok(text);
            }
            foreign = true;
        }
    }
    Err(if foreign { ScanFault::Foreign } else { ScanFault::NoCode })
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
