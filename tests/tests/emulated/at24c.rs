//! The I2C memory driver on the emulator's AT24C: what one start wrote, the next one finds.

use crate::image;
use std::process::Command;
use tempfile::TempDir;

#[test]
fn the_driver_counts_its_starts_in_the_emulated_part() {
    let folder = TempDir::new().expect("a folder");
    let part = folder.path().join("part");
    std::fs::write(&part, vec![0xFF; 65_536]).expect("written");
    let start = |with_part: bool| {
        let mut command = Command::new("timeout");
        command.args(["30", "qemu-system-arm", "-M", "mps2-an386", "-display", "none", "-monitor", "none", "-serial", "null"]);
        command.args(["-semihosting-config", "enable=on,target=native", "-kernel"]).arg(image().with_file_name("at24c"));
        if with_part {
            command.arg("-drive").arg(format!("if=none,id=ee,format=raw,file={}", part.display()));
            command.args(["-device", "at24c-eeprom,bus=i2c,address=0x50,rom-size=65536,drive=ee"]);
        }
        command.output().expect("the emulator: run tests/install-debian.sh").status.code()
    };
    let before = std::fs::read(&part).expect("read");
    assert_eq!(start(true), Some(0));
    let first = std::fs::read(&part).expect("read");
    assert!(first != before && first.len() == 65_536, "something was written");
    assert_eq!(start(true), Some(0));
    assert_ne!(std::fs::read(&part).expect("read"), first, "the count went on");
    assert_eq!(start(false), Some(1), "without the part it says so");
}
