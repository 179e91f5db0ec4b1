//! Pictures: a PNG or JPEG file unpacked into grey, made larger or smaller, blurred.

use std::io::Cursor;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Pixels on each side that a picture has at most.
const SIDE: usize = 20_000;
/// Bytes that a picture may take unpacked.
const UNPACKED_BYTES: usize = 1 << 30;
/// What a PNG file begins with (ISO/IEC 15948, 5.2).
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";
/// What a JPEG file begins with: start of image, and a marker (ITU-T T.81, B.1.1.2).
const JPEG: &[u8] = b"\xff\xd8\xff";
/// Bytes that a pixel of a progressive JPEG takes for each of its own: the pixel, and a coefficient of two until the last scan.
const PROGRESSIVE: usize = 3;
/// Parts of red, green and blue in grey, of 10,000 (ITU-R BT.709).
const WEIGHTS: [u32; 3] = [2126, 7152, 722];

/// A grey picture: 0 is black, row by row from the top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grey {
    /// Pixels of a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// As many as both say.
    pub pixels: Vec<u8>,
}

/// Unpacks a PNG or JPEG file. Transparency and colour profiles are left aside.
///
/// # Errors
/// Says in a few words what is wrong with it; larger than 20,000 pixels on a side or 1 GiB unpacked, before memory is taken for it.
pub fn unpacked(file: &[u8]) -> Result<Grey, String> {
    if file.starts_with(PNG) {
        png(file)
    } else if file.starts_with(JPEG) {
        jpeg(file)
    } else {
        Err("it begins as neither does".to_owned())
    }
}

fn png(file: &[u8]) -> Result<Grey, String> {
    let mut decoder = png::Decoder::new_with_limits(Cursor::new(file), png::Limits { bytes: UNPACKED_BYTES });
    decoder.set_transformations(png::Transformations::EXPAND | png::Transformations::STRIP_16);
    decoder.set_ignore_text_chunk(true);
    decoder.set_ignore_iccp_chunk(true);
    let header = decoder.read_header_info().map_err(said)?;
    let (width, height) = (header.width as usize, header.height as usize);
    bounded(width, height, header.color_type.samples())?;
    let mut reader = decoder.read_info().map_err(said)?;
    let channels = reader.output_color_type().0.samples();
    let mut pixels = vec![0; bounded(width, height, channels)?];
    reader.next_frame(&mut pixels).map_err(said)?;
    Ok(Grey { width, height, pixels: grey(pixels, channels) })
}

fn jpeg(file: &[u8]) -> Result<Grey, String> {
    let any = DecoderOptions::default().set_strict_mode(false).set_max_width(usize::MAX).set_max_height(usize::MAX);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(file), any);
    decoder.decode_headers().map_err(said)?;
    let colour = if decoder.input_colorspace() == Some(ColorSpace::Luma) { ColorSpace::Luma } else { ColorSpace::RGB };
    decoder.set_options(any.jpeg_set_out_colorspace(colour));
    let ((width, height), info) = decoder.dimensions().zip(decoder.info()).ok_or("no size is said in it")?;
    let channels = colour.num_components();
    bounded(width, height, if info.sof.is_progressive() { PROGRESSIVE * usize::from(info.components) } else { channels })?;
    Ok(Grey { width, height, pixels: grey(decoder.decode().map_err(said)?, channels) })
}

/// A decoder's words in one line, whatever lines it wrote.
#[allow(clippy::needless_pass_by_value)] // as `map_err` gives it
fn said(fault: impl std::fmt::Display) -> String {
    fault.to_string().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The bytes of so many pixels, if that is not too many.
fn bounded(width: usize, height: usize, bytes_each: usize) -> Result<usize, String> {
    let bytes = width.saturating_mul(height).saturating_mul(bytes_each);
    if width > SIDE || height > SIDE || bytes > UNPACKED_BYTES {
        return Err(format!("it is {width} by {height} pixels large, too many"));
    }
    Ok(bytes)
}

/// Grey, with or without transparency, or red, green and blue with or without it, made grey.
fn grey(pixels: Vec<u8>, channels: usize) -> Vec<u8> {
    let luma = |pixel: &[u8]| {
        let sum: u32 = pixel.iter().zip(WEIGHTS).map(|(colour, weight)| u32::from(*colour) * weight).sum();
        u8::try_from(sum / 10_000).unwrap_or(u8::MAX)
    };
    match channels {
        1 => pixels,
        2 => pixels.chunks_exact(2).map(|pixel| pixel.first().copied().unwrap_or_default()).collect(),
        _ => pixels.chunks_exact(channels).map(luma).collect(),
    }
}

impl Grey {
    /// Twice as large on each side: every pixel four times.
    #[must_use]
    pub fn doubled(&self) -> Self {
        let rows = self.pixels.chunks_exact(self.width.max(1)).flat_map(|row| [row; 2]);
        let mut pixels = Vec::with_capacity(4 * self.pixels.len());
        rows.for_each(|row| pixels.extend(row.iter().flat_map(|pixel| [*pixel; 2])));
        Self { width: 2 * self.width, height: 2 * self.height, pixels }
    }

    /// Half as large on each side: every pixel the mean of four. A last odd row or column goes.
    #[must_use]
    pub fn halved(&self) -> Self {
        let mut pixels = Vec::with_capacity(self.pixels.len() / 4);
        for pair in self.pixels.chunks_exact(2 * self.width.max(1)) {
            let (above, below) = pair.split_at(self.width);
            let squares = above.chunks_exact(2).zip(below.chunks_exact(2));
            pixels.extend(squares.map(|(above, below)| mean(above.iter().chain(below).map(|pixel| u32::from(*pixel)).sum(), 4)));
        }
        Self { width: self.width / 2, height: self.height / 2, pixels }
    }

    /// Every pixel the mean of the square around it, `2 * radius + 1` pixels wide; what is beyond an edge is as the edge.
    #[must_use]
    pub fn blurred(&self, radius: usize) -> Self {
        let side = 2 * radius + 1;
        let rows: Vec<&[u8]> = self.pixels.chunks_exact(self.width.max(1)).collect();
        let mut pixels = Vec::with_capacity(self.pixels.len());
        for around in widened(&rows, radius).windows(side) {
            let mut sums = vec![0; self.width];
            around.iter().for_each(|row| sums.iter_mut().zip(*row).for_each(|(sum, pixel)| *sum += u32::from(*pixel)));
            pixels.extend(widened(&sums, radius).windows(side).map(|sums| mean(sums.iter().sum(), side * side)));
        }
        Self { width: self.width, height: self.height, pixels }
    }
}

/// A line with its first and last so many times more before and after it.
fn widened<T: Copy>(line: &[T], by: usize) -> Vec<T> {
    let end = |of: Option<&T>| of.map(|end| vec![*end; by]).unwrap_or_default();
    [end(line.first()), line.to_vec(), end(line.last())].concat()
}

/// The mean of so many pixels, rounded.
fn mean(sum: u32, of: usize) -> u8 {
    let of = u32::try_from(of).unwrap_or(u32::MAX);
    u8::try_from((sum + of / 2) / of).unwrap_or(u8::MAX)
}

#[cfg(test)]
mod tests {
    use super::{Grey, grey};

    /// Three by two pixels.
    fn small() -> Grey {
        Grey { width: 3, height: 2, pixels: vec![0, 90, 200, 30, 60, 255] }
    }

    #[test]
    fn colours_are_as_grey_as_they_are_bright_and_transparency_is_left_aside() {
        assert_eq!(grey(vec![1, 2, 3], 1), [1, 2, 3]);
        assert_eq!(grey(vec![1, 200, 3, 100], 2), [1, 3]);
        assert_eq!(grey(vec![255, 0, 0, 0, 255, 0, 0, 0, 255, 255, 255, 255], 3), [54, 182, 18, 255]);
        assert_eq!(grey(vec![255, 0, 0, 9, 7, 7, 7, 0], 4), [54, 7]);
    }

    #[test]
    fn it_is_made_larger_and_smaller() {
        let twice = small().doubled();
        assert_eq!((twice.width, twice.height), (6, 4));
        let (first, second) = ([0, 0, 90, 90, 200, 200], [30, 30, 60, 60, 255, 255]);
        assert_eq!(twice.pixels, [first, first, second, second].concat());
        assert_eq!(twice.halved(), small());
        assert_eq!(small().halved(), Grey { width: 1, height: 1, pixels: vec![45] });
        assert_eq!(small().halved().halved().pixels, [0; 0]);
    }

    #[test]
    fn every_pixel_becomes_the_mean_of_those_around_it() {
        // of nine each, with the edges repeated: 300, 925, 1550, 330, 980 and 1630 ninths
        assert_eq!(small().blurred(1).pixels, [33, 103, 172, 37, 109, 181]);
        assert_eq!(small().blurred(0), small());
        let even = Grey { width: 7, height: 5, pixels: vec![255; 35] };
        assert_eq!(even.blurred(2), even);
    }
}
