//! The image: where its strap word is.

use crate::machine::MachineFault;
use object::{Object, ObjectSymbol};
use std::path::Path;

/// The word that tells the image how to run, by its name in the image.
const STRAP: &str = "STRAP";

/// The address of the strap word.
///
/// # Errors
/// Where the file cannot be read, is no image, or has no such word.
pub fn strap_address(image: &Path) -> Result<u32, MachineFault> {
    let name = image.display();
    let build = "build it with: cargo xtask firmware";
    let bytes = std::fs::read(image).map_err(|error| MachineFault(format!("{name}: the image cannot be read ({error}); {build}")))?;
    let file = object::File::parse(&*bytes).map_err(|error| MachineFault(format!("{name}: not an image ({error}); {build}")))?;
    let strap = file.symbols().find(|symbol| symbol.name().is_ok_and(|name| name == STRAP));
    strap
        .and_then(|symbol| u32::try_from(symbol.address()).ok())
        .ok_or_else(|| MachineFault(format!("{name}: the image has no word {STRAP}, so it cannot run in lock-step; {build}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_image_is_said_in_one_line() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("image");
        let said = |path: &Path| strap_address(path).unwrap_err().to_string();
        assert!(said(&path).contains("cannot be read"));
        std::fs::write(&path, b"not an ELF file").unwrap();
        assert!(said(&path).contains("not an image") && !said(&path).contains('\n'));
        let own = std::env::current_exe().unwrap();
        assert!(said(&own).contains("has no word STRAP"));
    }
}
