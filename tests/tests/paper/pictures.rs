//! Pages as pictures, held against those that somebody looked at: `BLESS=1` draws them anew.

use crate::holes::{good, worst};
use crate::readers::{rendered, rendered_with_other_lines};
use crate::works;
use crate::{letter, with};
use host_tool::paper::{PageSize, Printing};
use std::fs;
use std::path::PathBuf;

/// Two greys differ where they are further apart: edges that are smoothed a little otherwise do not count.
const GREYS: u8 = 96;
/// The share of a page's pixels that may differ. The same renderer makes none; thin lines drawn another way (poppler's own choice
/// of `-thinlinemode`, which stands here for another release of it) 0.3 to 0.6 %; half a page moved by a fiftieth of an inch 1.7 to
/// 3.2 %, measured on four of these pages. A word or a line that is otherwise makes 0.1 %: that is for the tests that read.
const SHARE: f64 = 0.01;

/// A page as it is drawn: width, height and the greys, row by row.
pub struct Picture {
    pub width: u32,
    pub height: u32,
    pub greys: Vec<u8>,
}

impl Picture {
    /// Reads a portable graymap as poppler writes it: "P5", width and height, 255, the greys.
    fn of_graymap(bytes: &[u8]) -> Self {
        let mut lines = bytes.splitn(4, |byte| *byte == b'\n');
        let mut line = || std::str::from_utf8(lines.next().expect("a line")).expect("letters").to_owned();
        let (kind, size, most) = (line(), line(), line());
        assert_eq!((kind.as_str(), most.as_str()), ("P5", "255"));
        let (width, height) = size.split_once(' ').expect("width and height");
        let (width, height): (u32, u32) = (width.parse().expect("a width"), height.parse().expect("a height"));
        let greys = lines.next().expect("greys").to_vec();
        assert_eq!(Some(greys.len()), usize::try_from(width * height).ok());
        Self { width, height, greys }
    }

    /// Reads a PNG, of colours the first.
    fn of_png(bytes: &[u8]) -> Self {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().expect("a picture");
        let mut samples = vec![0; reader.output_buffer_size().expect("a size")];
        let info = reader.next_frame(&mut samples).expect("a whole picture");
        assert_eq!(info.bit_depth, png::BitDepth::Eight);
        let greys = samples.into_iter().step_by(info.color_type.samples()).collect();
        Self { width: info.width, height: info.height, greys }
    }

    /// A grey PNG of 16 greys, which is small.
    fn png(&self) -> Vec<u8> {
        let mut out = Vec::new();
        let mut encoder = png::Encoder::new(&mut out, self.width, self.height);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::Four);
        encoder.set_compression(png::Compression::High);
        let row = usize::try_from(self.width).expect("small");
        let pack = |pair: &[u8]| (pair[0] & 0xF0) | (pair.get(1).copied().unwrap_or(255) >> 4);
        let packed: Vec<u8> = self.greys.chunks(row).flat_map(|row| row.chunks(2).map(pack)).collect();
        let mut writer = encoder.write_header().expect("a header");
        writer.write_image_data(&packed).expect("the greys");
        writer.finish().expect("an end");
        out
    }

    /// The share of pixels that differ.
    fn differs(&self, other: &Self) -> f64 {
        assert_eq!((self.width, self.height), (other.width, other.height), "pages of one size");
        let differing = self.greys.iter().zip(&other.greys).filter(|(a, b)| a.abs_diff(**b) > GREYS).count();
        f64::from(u32::try_from(differing).expect("few")) / f64::from(self.width * self.height)
    }
}

/// The pages, each with its file's name: which certificate, and which page of it from 1.
fn pages() -> Vec<(&'static str, Vec<u8>, u32)> {
    let (metric, feet) = (works::full(false), works::full(true));
    let of = |works: &works::Works, n, size| works::certificate(works, n, Printing::archive(size));
    let full = of(&metric, 0, PageSize::A4);
    let nothing = with(|s| (s.increments, s.passes, s.clock, s.closed) = (false, 1, false, false));
    vec![
        ("metric-a4-1", full.clone(), 1),
        ("metric-a4-2", full.clone(), 2),
        ("metric-a4-annex", full, 3),
        ("feet-letter-1", of(&feet, 0, PageSize::Letter), 1),
        ("feet-letter-2", of(&feet, 0, PageSize::Letter), 2),
        ("structure-1", works::structure(&metric, Printing::archive(PageSize::A4)), 1),
        ("worst-1", letter(&worst()), 1),
        ("nothing-2", letter(&nothing), 2),
    ]
}

fn folder() -> PathBuf {
    tests::root().join("tests/corpus/pages")
}

#[test]
fn pages_look_as_they_were_looked_at() {
    let mut sum = 0;
    for (name, pdf, page) in pages() {
        let path = folder().join(format!("{name}.png"));
        let drawn = Picture::of_graymap(&rendered(&pdf, page));
        if std::env::var_os("BLESS").is_some() {
            fs::create_dir_all(folder()).expect("a folder");
            fs::write(&path, drawn.png()).expect("written");
        }
        let there = fs::read(&path).unwrap_or_else(|e| panic!("{}: {e}; BLESS=1 draws it anew", path.display()));
        let share = drawn.differs(&Picture::of_png(&there));
        let of = path.display();
        assert!(share <= SHARE, "{:.2} % of {of} is otherwise: look at the page, then BLESS=1 draws it anew", share * 100.0);
        sum += there.len();
    }
    assert!(sum < 600_000, "{sum} bytes of pictures");
}

#[test]
fn the_tolerance_sees_half_a_page_that_moved_by_a_row_and_not_thin_lines_drawn_otherwise() {
    let pdf = letter(&good());
    let picture = Picture::of_graymap(&rendered(&pdf, 2));
    let row = usize::try_from(picture.width).expect("small");
    let middle = picture.greys.len() / 2 / row * row;
    let [above, below] = [&picture.greys[..middle], &picture.greys[middle..picture.greys.len() - row]];
    let moved = Picture { greys: [above, &vec![255; row], below].concat(), ..picture };
    let picture = Picture::of_graymap(&rendered(&pdf, 2));
    assert!(picture.differs(&moved) > SHARE, "{}", picture.differs(&moved));
    let otherwise = Picture::of_graymap(&rendered_with_other_lines(&pdf, 2));
    let share = picture.differs(&otherwise);
    assert!(share > 0.0 && share < SHARE, "{share}");
}
