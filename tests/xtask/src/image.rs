//! What can be read off an image: where its strap word is, and how much flash and RAM it takes.

use crate::Outcome;
use object::{Object, ObjectSection, ObjectSegment, ObjectSymbol, SectionKind};
use std::path::Path;

/// The word that tells the image how to run, by its name in the image.
const STRAP: &str = "STRAP";
/// What only a seal needs, by the names of its symbols. The digest's own are among them, which a checkpoint needs too.
const SEALING: [&str; 8] = ["curve25519", "ed25519", "sha2", "subtle", "signature", "block_buffer", "digest", "zeroize"];
/// RAM and above; flash is below.
const RAM_BASE: u64 = 0x2000_0000;

/// An image's bytes, known to be an image.
#[derive(Debug)]
pub struct Image {
    /// The address of its strap word.
    pub strap: u32,
    /// Bytes of flash, the initial values of variables among them.
    pub flash: u64,
    /// The same by what a loader would write.
    pub loaded: u64,
    /// Bytes of flash that only sealing takes.
    pub sealing: u64,
    /// Bytes of RAM for variables.
    pub ram: u64,
    /// The file's bytes.
    pub bytes: Vec<u8>,
}

impl Image {
    /// Reads it.
    pub fn read(path: &Path) -> Outcome<Self> {
        let name = path.display();
        let bytes = std::fs::read(path).map_err(|error| format!("{name}: cannot be read ({error}); build it: cargo xtask firmware"))?;
        let file = object::File::parse(&*bytes).map_err(|error| format!("{name}: not an image ({error})"))?;
        let strap = file.symbols().find(|symbol| symbol.name() == Ok(STRAP)).and_then(|symbol| u32::try_from(symbol.address()).ok());
        let strap = strap.ok_or_else(|| format!("{name}: has no word {STRAP}"))?;
        let (mut flash, mut ram) = (0, 0);
        for section in file.sections() {
            let variables = section.address() >= RAM_BASE;
            let kept = !matches!(section.kind(), SectionKind::UninitializedData);
            let loaded = matches!(
                section.kind(),
                SectionKind::Text | SectionKind::Data | SectionKind::ReadOnlyData | SectionKind::UninitializedData
            );
            flash += if loaded && kept { section.size() } else { 0 };
            ram += if loaded && variables { section.size() } else { 0 };
        }
        let loaded = file.segments().map(|segment| segment.file_range().1).sum();
        let of_seal = |name: &str| SEALING.iter().any(|part| name.contains(part));
        let symbols = file.symbols().filter(|symbol| symbol.address() < RAM_BASE && symbol.name().is_ok_and(of_seal));
        let sealing = symbols.map(|symbol| symbol.size()).sum();
        Ok(Self { strap, flash, loaded, sealing, ram, bytes })
    }
}
