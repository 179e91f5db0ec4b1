//! The code on a print: read by a decoder that nobody here wrote, and by ours, from a page at 150 dots an inch, turned and noisy.

use crate::office::{Office, file, trust};
use host_tool::entry::Finding;
use host_tool::evidence::review::Reviewed;
use host_tool::evidence::scan::{ScanFault, Signer, read, signer};
use image::{GrayImage, ImageFormat, Luma};
use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::io::Cursor;
use std::process::Command;

/// Dots to an inch.
const DPI: &str = "150";

/// The first page of a paper as a grey picture, by poppler.
fn page(paper: &[u8]) -> GrayImage {
    let (pdf, folder) = (file(paper, ".pdf"), tempfile::tempdir().expect("a folder"));
    let to = folder.path().join("page");
    let arguments = ["-r", DPI, "-gray", "-f", "1", "-l", "1", "-png", "-singlefile"];
    let run = Command::new("pdftoppm").args(arguments).arg(pdf.path()).arg(&to).status();
    assert!(run.expect("pdftoppm: run tests/install-debian.sh").success());
    image::open(to.with_extension("png")).expect("a picture").to_luma8()
}

/// The page turned by so many degrees, drawn in on one side as by a camera held askew, with noise on it.
fn photographed(page: &GrayImage, degrees: f64, askew: f64, noise: i32, seed: u64) -> GrayImage {
    let mut chance = Pcg32::seed_from_u64(seed);
    let (sin, cos) = degrees.to_radians().sin_cos();
    let (width, height) = (f64::from(page.width()), f64::from(page.height()));
    GrayImage::from_fn(page.width(), page.height(), |x, y| {
        let (dx, dy) = (f64::from(x) - width / 2.0, f64::from(y) - height / 2.0);
        let far = 1.0 + askew * dy / height;
        let (u, v) = ((cos * dx - sin * dy) * far + width / 2.0, (sin * dx + cos * dy) * far + height / 2.0);
        let inside = u >= 0.0 && v >= 0.0 && u < width - 1.0 && v < height - 1.0;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the page
        let grey =
            if inside { image::imageops::interpolate_bilinear(page, u as f32, v as f32).map_or(230, |p: Luma<u8>| p.0[0]) } else { 230 };
        let most = u32::try_from(2 * noise + 1).expect("positive");
        let shift = i32::try_from(chance.next_u32() % most).expect("small") - noise;
        Luma([u8::try_from((i32::from(grey) * 7 / 10 + 50 + shift).clamp(0, 255)).expect("a byte")])
    })
}

pub fn png(picture: &GrayImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).expect("written");
    bytes.into_inner()
}

/// What zbar reads.
fn by_zbar(picture: &[u8]) -> String {
    let file = file(picture, ".png");
    let out = Command::new("zbarimg").args(["--raw", "--quiet", "-Sdisable", "-Sqrcode.enable"]).arg(file.path()).output();
    String::from_utf8(out.expect("zbarimg: run tests/install-debian.sh").stdout).expect("text").trim_end().to_owned()
}

pub fn code(office: &Office) -> String {
    let evidence = office.evidence();
    let judged = evidence.judged().expect("evidence");
    let hole = judged.holes.iter().find(|hole| hole.set_up_name() == office.set_up()).expect("the left leg");
    Reviewed::of(&evidence, &judged, hole).expect("its evidence").code
}

/// A code drawn, five pixels to a module.
pub fn drawn(text: &str) -> GrayImage {
    let code = qrcodegen::QrCode::encode_text(text, qrcodegen::QrCodeEcc::Medium).expect("fits");
    let side = u32::try_from(code.size() + 8).expect("positive") * 5;
    let dark = |x: u32, y: u32| code.get_module(i32::try_from(x / 5).expect("small") - 4, i32::try_from(y / 5).expect("small") - 4);
    GrayImage::from_fn(side, side, |x, y| Luma([if dark(x, y) { 0 } else { 255 }]))
}

#[test]
fn another_familys_decoder_and_ours_read_the_code_from_a_page_turned_askew_and_noisy() {
    let mut office = Office::new();
    office.review(Finding::Accepted, "");
    let (page, code) = (page(&office.left()), code(&office));
    assert!(code.len() <= 220, "{} bytes", code.len());
    let turned = image::imageops::rotate90(&page);
    let ways = [(&page, 0.0, 0.0, 0), (&page, 4.0, 0.0, 25), (&page, -11.0, 0.05, 25), (&turned, 2.0, 0.0, 10), (&page, 183.0, 0.08, 30)];
    for (page, degrees, askew, noise) in ways {
        let picture = png(&photographed(page, degrees, askew, noise, 1));
        assert_eq!(by_zbar(&picture), code, "zbar, {degrees}°, askew {askew}, noise {noise}");
        assert_eq!(read(&picture).as_deref(), Ok(code.as_str()), "ours, {degrees}°, askew {askew}, noise {noise}");
    }
}

#[test]
fn a_photograph_proves_what_a_reviewer_signed_and_nothing_else() {
    let mut office = Office::new();
    let trusted = trust(&office, &["reviewer"]);
    let unreviewed = code(&office);
    assert!(unreviewed.contains("\nUNREVIEWED\n"), "{unreviewed}");
    assert_eq!(signer(&unreviewed, &trusted).signer, Signer::Nobody);
    office.review(Finding::Accepted, "");
    let code = code(&office);
    assert_eq!(signer(&code, &trusted).signer, Signer::Trusted("R. Example".to_owned()));
    assert!(matches!(signer(&code, &trust(&office, &["host"])).signer, Signer::Unknown(_)));
    assert!(signer(&code, &trusted).text.contains("K-41 left a1 s1\nr1 accepted 2027-01-16\ndepth 3.184m+-0.0"), "{code}");
    // every character of it, changed
    for at in 0..code.len() {
        let mut other = code.clone().into_bytes();
        other[at] = if other[at] == b'A' { b'B' } else { b'A' };
        let other = String::from_utf8(other).expect("ASCII");
        assert!(!matches!(signer(&other, &trusted).signer, Signer::Trusted(_)), "{at}: {other}");
    }
}

/// The longest names and the worst figures still fit, in both unit systems.
#[test]
fn the_longest_code_fits() {
    use crate::holes::{good_feet, worst};
    for mut sample in [worst(), good_feet()] {
        sample.plan.structure = "W".repeat(16).as_str().try_into().expect("16 bytes");
        sample.plan.leg = 2;
        (sample.plan.attempt, sample.plan.setup) = (255, 255);
        let mut store = host_tool::store::Store::in_memory(1).expect("a store");
        store.keep(&crate::office::stream(), &sample.slots()).expect("kept");
        let evidence = host_tool::evidence::collect::of_store(&store, None, None).expect("readable").into_values().next().expect("one");
        let judged = evidence.judged().expect("evidence");
        let hole = &judged.holes[0];
        let key = ed25519_dalek::SigningKey::from_bytes(&crate::office::REVIEWER);
        let at = host_tool::facts::Wall { unix_ms: 1_800_086_400_000, offset: -420 };
        let entry = Reviewed::of(&evidence, &judged, hole).expect("evidence").review(hole, "R. Example", at, Finding::Accepted, "", &key);
        store.enter(&entry.expect("a review")).expect("entered");
        let evidence = host_tool::evidence::collect::of_store(&store, None, None).expect("readable").into_values().next().expect("one");
        let judged = evidence.judged().expect("evidence");
        let code = Reviewed::of(&evidence, &judged, &judged.holes[0]).expect("evidence").code;
        assert!(code.len() <= 220 && code.contains("r1 accepted"), "{} bytes: {code}", code.len());
        let square = qrcodegen::QrCode::encode_text(&code, qrcodegen::QrCodeEcc::Medium).expect("fits");
        assert!(square.version().value() <= 11, "version {}", square.version().value());
    }
}

#[test]
fn pictures_without_our_code_are_refused() {
    let blank = png(&GrayImage::from_pixel(200, 200, Luma([255])));
    assert_eq!(read(&blank), Err(ScanFault::NoCode));
    assert!(matches!(read(b"no picture"), Err(ScanFault::Picture(_))));
    assert_eq!(read(&png(&drawn("https://example.invalid"))), Err(ScanFault::Foreign));
}
