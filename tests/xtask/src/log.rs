//! The image's log, decoded with the image that wrote it.

use crate::Outcome;
use defmt_decoder::{DecodeError, Table};
use std::io::Read;

/// Decodes what comes and hands on line by line, until it ends. Damaged frames are counted and passed over.
pub fn decode(image: &[u8], mut from: impl Read, mut line: impl FnMut(&str)) -> Outcome {
    let table = Table::parse(image)
        .map_err(|error| format!("the image's log table cannot be read: {error}"))?
        .ok_or("the image has no log table")?;
    let mut decoder = table.new_stream_decoder();
    let mut bytes = [0; 1_024];
    loop {
        let count = match from.read(&mut bytes) {
            Ok(0) => return Ok(()),
            Ok(count) => count,
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(format!("the log cannot be read: {error}")),
        };
        decoder.received(&bytes[..count]);
        loop {
            match decoder.decode() {
                Ok(frame) => line(&frame.display(false).to_string()),
                Err(DecodeError::UnexpectedEof) => break,
                Err(DecodeError::Malformed) => line("(a damaged frame of the log)"),
            }
        }
    }
}
