//! Programs that nobody here wrote, reading our paper. One that is missing is a failure with the line to type.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output};
use tempfile::{NamedTempFile, TempDir};

/// Jars of Apache PDFBox Preflight as Debian installs them.
const JARS: [&str; 7] = ["preflight", "pdfbox2", "fontbox2", "xmpbox", "commons-logging", "javax.activation", "jaxb-api"];

fn run(program: &str, arguments: &[&str]) -> Output {
    Command::new(program)
        .args(arguments)
        .output()
        .unwrap_or_else(|e| panic!("{program} cannot be run ({e}); install what the proofs need: sudo sh tests/install-debian.sh"))
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn file(pdf: &[u8]) -> NamedTempFile {
    let mut file = NamedTempFile::with_suffix(".pdf").expect("a temporary file");
    file.write_all(pdf).expect("room for a temporary file");
    file
}

fn path(file: &NamedTempFile) -> &str {
    file.path().to_str().expect("a temporary path in UTF-8")
}

/// What qpdf finds wrong with the file's structure; nothing is empty.
pub fn qpdf_complaint(pdf: &[u8]) -> String {
    let file = file(pdf);
    let output = run("qpdf", &["--check", path(&file)]);
    if output.status.success() { String::new() } else { text(&output.stdout) + &text(&output.stderr) }
}

/// What PDFBox Preflight says of the file as PDF/A-1b.
pub fn preflight(pdf: &[u8]) -> String {
    let jars: Vec<String> = JARS.iter().map(|jar| format!("/usr/share/java/{jar}.jar")).collect();
    for jar in &jars {
        assert!(Path::new(jar).exists(), "{jar} is missing; install what the proofs need: sudo sh tests/install-debian.sh");
    }
    let file = file(pdf);
    let output = run("java", &["-cp", &jars.join(":"), "org.apache.pdfbox.preflight.Validator_A1b", path(&file)]);
    text(&output.stdout) + &text(&output.stderr)
}

/// The pages' text, page by page, by poppler.
pub fn pages(pdf: &[u8]) -> Vec<String> {
    let file = file(pdf);
    let output = run("pdftotext", &["-layout", path(&file), "-"]);
    assert!(output.status.success(), "{}", text(&output.stderr));
    let all = text(&output.stdout).replace('\u{A0}', " ");
    all.split('\u{c}').map(str::to_owned).filter(|page| !page.trim().is_empty()).collect()
}

/// The pages' text in one, each run of white space one space, so that it does not matter where lines break.
pub fn words(pdf: &[u8]) -> String {
    let file = file(pdf);
    let output = run("pdftotext", &[path(&file), "-"]);
    text(&output.stdout).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The pages' lines as they lie, each run of white space one space.
pub fn lines(pdf: &[u8]) -> Vec<String> {
    let collapsed = |line: &str| line.split_whitespace().collect::<Vec<_>>().join(" ");
    pages(pdf).iter().flat_map(|page| page.lines().map(collapsed).collect::<Vec<_>>()).collect()
}

/// The reading order and the tags, by poppler.
pub fn structure(pdf: &[u8]) -> String {
    let file = file(pdf);
    text(&run("pdfinfo", &["-struct-text", path(&file)]).stdout)
}

/// Title, author, dates and the like, by poppler.
pub fn metadata(pdf: &[u8]) -> String {
    let file = file(pdf);
    text(&run("pdfinfo", &["-isodates", path(&file)]).stdout) + &text(&run("pdfinfo", &["-meta", path(&file)]).stdout)
}

/// The attached file of this name, by poppler.
pub fn attachment(pdf: &[u8], name: &str) -> Vec<u8> {
    let (file, folder) = (file(pdf), TempDir::new().expect("a temporary folder"));
    let to = folder.path().join(name);
    let output = run("pdfdetach", &["-savefile", name, "-o", to.to_str().expect("UTF-8"), path(&file)]);
    assert!(output.status.success(), "{name}: {}", text(&output.stderr));
    std::fs::read(to).expect("the attachment")
}

/// SHA-256 of bytes in hexadecimal, by coreutils.
pub fn sha256(bytes: &[u8]) -> String {
    let mut file = NamedTempFile::new().expect("a temporary file");
    file.write_all(bytes).expect("room for a temporary file");
    text(&run("sha256sum", &[path(&file)]).stdout).split_whitespace().next().unwrap_or_default().to_owned()
}

/// Whether an Ed25519 signature is that of a public key over bytes, by OpenSSL.
pub fn openssl_verifies(key: &[u8], signed: &[u8], signature: &[u8]) -> bool {
    let folder = TempDir::new().expect("a temporary folder");
    // a public key of this kind in DER, RFC 8410
    let der = [&[0x30, 0x2A, 0x30, 0x05, 0x06, 0x03, 0x2B, 0x65, 0x70, 0x03, 0x21, 0x00], key].concat();
    let files = [("key", &der[..]), ("signed", signed), ("signature", signature)].map(|(name, bytes)| {
        let file = folder.path().join(name);
        std::fs::write(&file, bytes).expect("room for a temporary file");
        file.to_str().expect("UTF-8").to_owned()
    });
    let [key, signed, signature] = files.each_ref().map(String::as_str);
    let ask = ["pkeyutl", "-verify", "-pubin", "-keyform", "DER", "-inkey", key, "-rawin", "-in", signed, "-sigfile", signature];
    run("openssl", &ask).status.success()
}

/// A word on a page: page from 0, left, top, right, bottom in points, and its letters.
#[derive(Clone, Debug, PartialEq)]
pub struct Word {
    pub page: usize,
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
    pub letters: String,
}

/// Every word with its place, and the pages' sizes, by poppler.
pub fn placed_words(pdf: &[u8]) -> (Vec<(f64, f64)>, Vec<Word>) {
    let file = file(pdf);
    let output = run("pdftotext", &["-bbox", path(&file), "-"]);
    let (mut sizes, mut words) = (Vec::new(), Vec::new());
    for line in text(&output.stdout).lines().map(str::trim) {
        if line.starts_with("<page ") {
            sizes.push((attribute(line, "width"), attribute(line, "height")));
        } else if line.starts_with("<word ") {
            let letters = line.split_once('>').and_then(|(_, rest)| rest.rsplit_once("</word>")).map_or("", |(letters, _)| letters);
            let [left, top, right, bottom] = ["xMin", "yMin", "xMax", "yMax"].map(|name| attribute(line, name));
            words.push(Word { page: sizes.len() - 1, left, top, right, bottom, letters: letters.to_owned() });
        }
    }
    (sizes, words)
}

fn attribute(line: &str, name: &str) -> f64 {
    let after = line.split_once(&format!("{name}=\"")).expect("the attribute").1;
    after.split('"').next().and_then(|figure| figure.parse().ok()).expect("a figure")
}

/// The labelled paragraphs: what each is about, and what is said of it; of several by one label the first.
pub fn fields(pdf: &[u8]) -> std::collections::BTreeMap<String, String> {
    let structure = structure(pdf).replace('\u{A0}', " ");
    let mut found = std::collections::BTreeMap::new();
    for paragraph in structure.split("\n    P (block)\n").skip(1) {
        let quoted = paragraph.lines().map(str::trim).take_while(|line| line.starts_with('"'));
        let parts: Vec<&str> = quoted.map(|line| line.trim_matches('"')).collect();
        if let [label, text @ ..] = &parts[..]
            && !text.is_empty()
        {
            found.entry((*label).to_owned()).or_insert_with(|| text.join(" "));
        }
    }
    found
}

/// The document as it is read out: the text of its elements in the order of its tags, each run of white space one space.
pub fn read_out(pdf: &[u8]) -> String {
    let structure = structure(pdf);
    let quoted = structure.lines().map(str::trim).filter(|line| line.starts_with('"')).map(|line| line.trim_matches('"'));
    quoted.collect::<Vec<_>>().join(" ").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A page as a grey picture of 50 dots an inch, a portable graymap, by poppler.
pub fn rendered(pdf: &[u8], page: u32) -> Vec<u8> {
    picture(&[], pdf, page)
}

/// The same with thin lines drawn another way.
pub fn rendered_with_other_lines(pdf: &[u8], page: u32) -> Vec<u8> {
    picture(&["-thinlinemode", "shape"], pdf, page)
}

fn picture(how: &[&str], pdf: &[u8], page: u32) -> Vec<u8> {
    let (file, folder, page) = (file(pdf), TempDir::new().expect("a temporary folder"), page.to_string());
    let out = folder.path().join("page");
    let common = ["-r", "50", "-gray", "-singlefile", "-f", &page, "-l", &page, path(&file), out.to_str().expect("UTF-8")];
    let output = run("pdftoppm", &[how, &common].concat());
    assert!(output.status.success(), "{}", text(&output.stderr));
    std::fs::read(out.with_extension("pgm")).expect("a picture")
}
