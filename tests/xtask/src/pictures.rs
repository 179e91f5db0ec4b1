//! `pictures`: makes the documents' pictures anew from what the program prints.

use crate::test::{DEMONSTRATION, demonstration, run_command};
use crate::{Outcome, board};
use std::process::Command;

/// The first page of the left leg's certificate, as the README shows it.
const CERTIFICATE: &str = "host-tool/docs/certificate";

pub fn run() -> Outcome {
    demonstration()?;
    let paper = board::root().join(DEMONSTRATION).join("S-27-left.pdf");
    let mut convert = Command::new("pdftoppm");
    convert.args(["-r", "72", "-gray", "-png", "-singlefile", "-f", "1", "-l", "1"]).arg(paper).arg(board::root().join(CERTIFICATE));
    run_command(&mut convert, "pdftoppm")
}
