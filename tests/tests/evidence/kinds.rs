//! The code read from every kind of PNG and JPEG that a camera, a scanner or a program writes, and pictures that are none.

use crate::office::{Office, file};
use crate::photographs::{code, drawn, png as written};
use host_tool::evidence::scan::{ScanFault, read};
use image::{DynamicImage, GrayImage, ImageFormat};
use png::{BitDepth, ColorType, Encoder};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::io::Cursor;
use std::process::Command;

const CODE: &str = "BW1 K-41 left a1 s1\nUNREVIEWED";

/// The paper's first page by poppler, as it is asked for.
fn printed(paper: &[u8], ask: &[&str], end: &str) -> Vec<u8> {
    let (pdf, folder) = (file(paper, ".pdf"), tempfile::tempdir().expect("a folder"));
    let to = folder.path().join("page");
    let run = Command::new("pdftoppm").args(["-r", "150", "-f", "1", "-l", "1", "-singlefile"]).args(ask).arg(pdf.path()).arg(&to).status();
    assert!(run.expect("pdftoppm: run tests/install-debian.sh").success());
    std::fs::read(to.with_extension(end)).expect("a picture")
}

fn as_png(picture: &DynamicImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).expect("written");
    bytes.into_inner()
}

fn as_jpeg(picture: &DynamicImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Jpeg).expect("written");
    bytes.into_inner()
}

/// A picture of two colours in so many bits a pixel: grey, or by a palette in which neither stands where grey would.
fn of_few_bits(picture: &GrayImage, bits: BitDepth, palette: bool) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, picture.width(), picture.height());
    encoder.set_depth(bits);
    encoder.set_color(if palette { ColorType::Indexed } else { ColorType::Grayscale });
    if palette {
        encoder.set_palette([[250, 240, 90], [10, 0, 120]].concat());
    }
    let (bright, dark) = if palette { (0, 1) } else { (u8::MAX >> (8 - bits as u8), 0) };
    let each = 8 / usize::from(bits as u8);
    let rows = picture.rows().flat_map(|row| {
        let values: Vec<u8> = row.map(|pixel| if pixel.0[0] > 127 { bright } else { dark }).collect();
        let packed = |some: &[u8]| some.iter().enumerate().fold(0, |all, (at, value)| all | value << (8 - (at + 1) * 8 / each));
        values.chunks(each).map(packed).collect::<Vec<u8>>()
    });
    let rows: Vec<u8> = rows.collect();
    let mut writer = encoder.write_header().expect("a header");
    writer.write_image_data(&rows).expect("written");
    writer.finish().expect("written");
    bytes
}

#[test]
fn the_code_is_read_from_every_kind_of_png() {
    let grey = drawn(CODE);
    let whole = DynamicImage::ImageLuma8(grey.clone());
    let mut kinds = vec![
        ("grey", as_png(&whole)),
        ("grey, transparent", as_png(&whole.to_luma_alpha8().into())),
        ("colour", as_png(&whole.to_rgb8().into())),
        ("colour, transparent", as_png(&whole.to_rgba8().into())),
        ("grey of 16 bits", as_png(&whole.to_luma16().into())),
        ("grey of 16 bits, transparent", as_png(&whole.to_luma_alpha16().into())),
        ("colour of 16 bits", as_png(&whole.to_rgb16().into())),
        ("colour of 16 bits, transparent", as_png(&whole.to_rgba16().into())),
    ];
    for (bits, said) in [(BitDepth::One, "1 bit"), (BitDepth::Two, "2 bits"), (BitDepth::Four, "4 bits"), (BitDepth::Eight, "8 bits")] {
        kinds.extend([false, true].map(|palette| (said, of_few_bits(&grey, bits, palette))));
    }
    for (kind, bytes) in kinds {
        assert_eq!(read(&bytes).as_deref(), Ok(CODE), "{kind}");
    }
}

#[test]
fn the_code_is_read_from_every_kind_of_jpeg() {
    assert_eq!(read(&as_jpeg(&DynamicImage::ImageLuma8(drawn(CODE)))).as_deref(), Ok(CODE), "grey");
    let office = Office::new();
    let (paper, code) = (office.left(), code(&office));
    let kinds: [&[&str]; 4] = [&["-jpeg"], &["-jpegcmyk"], &["-jpeg", "-jpegopt", "progressive=y"], &["-jpeg", "-jpegopt", "quality=20"]];
    for kind in kinds {
        assert_eq!(read(&printed(&paper, kind, "jpg")).as_deref(), Ok(code.as_str()), "{kind:?}");
    }
}

/// Says that it is of another size than it is.
fn resized(jpeg: &[u8], height: u16, width: u16) -> Vec<u8> {
    let mut bytes = jpeg.to_vec();
    let frame = bytes.windows(2).position(|two| two == [0xFF, 0xC0]).expect("the frame's header");
    bytes[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
    bytes[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
    bytes
}

/// Nothing but the header of a PNG in colour.
fn header_of(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, width, height);
    encoder.set_color(ColorType::Rgb);
    drop(encoder.write_header().expect("a header"));
    bytes
}

#[test]
fn what_would_take_too_much_memory_is_refused_by_its_header() {
    let whole = DynamicImage::ImageLuma8(drawn(CODE));
    let (colour, grey) = (as_jpeg(&whole.to_rgb8().into()), as_jpeg(&whole));
    let too_many = [
        ("20001 by 1", header_of(20_001, 1)),
        ("1 by 20001", header_of(1, 20_001)),
        ("20000 by 20000", header_of(20_000, 20_000)),
        ("4294967 by 4294967", header_of(4_294_967, 4_294_967)),
        ("20001 by 8", resized(&grey, 8, 20_001)),
        ("8 by 20001", resized(&grey, 20_001, 8)),
        ("20000 by 20000", resized(&colour, 20_000, 20_000)),
    ];
    for (size, bytes) in too_many {
        let said = read(&bytes).expect_err("too large").to_string();
        assert!(said.contains(&format!("it is {size} pixels large, too many")), "{size}: {said}");
    }
}

#[test]
fn a_picture_cut_short_or_spoiled_is_refused_or_read_and_never_misread() {
    let whole = DynamicImage::ImageLuma8(drawn(CODE));
    let (png, jpeg) = (written(&drawn(CODE)), as_jpeg(&whole.to_rgb8().into()));
    let mut chance = Pcg32::seed_from_u64(1);
    let mut refused = 0;
    for whole in [&png, &jpeg] {
        for _ in 0..200 {
            let at = chance.next_u32() as usize % whole.len();
            let mut spoiled = whole.clone();
            spoiled[at] ^= 1 << (chance.next_u32() % 8);
            for bytes in [&whole[..at], &spoiled] {
                let got = read(bytes);
                assert!(got.as_deref().is_ok_and(|text| text == CODE) || got.is_err(), "byte {at}: {got:?}");
                refused += u32::from(matches!(got, Err(ScanFault::Picture(_))));
            }
        }
    }
    assert!(refused > 300, "{refused} are said to be no picture");
    for short in [&png[..png.len() / 2], &png[..20], &jpeg[..20], &[], b"\x89PNG", b"GIF89a......................"] {
        let got = read(short);
        assert!(matches!(got, Err(ScanFault::Picture(_))), "{short:?}: {got:?}");
        let said = got.expect_err("none").to_string();
        assert!(!said.contains('\n'), "{said}");
    }
}

#[test]
fn the_smallest_pictures_hold_no_code() {
    for (width, height) in [(1, 1), (1, 2), (2, 1), (1, 40), (40, 1), (3, 3)] {
        assert_eq!(read(&written(&GrayImage::new(width, height))), Err(ScanFault::NoCode), "{width} by {height}");
    }
}
