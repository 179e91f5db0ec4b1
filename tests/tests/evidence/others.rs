//! What OpenSSL, sha256sum and poppler say of a certificate's evidence, without any code of ours.

use crate::office::{Office, file};
use host_tool::entry::Finding;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

const INSTALL: &str = "install what the proofs need: sudo sh tests/install-debian.sh";

/// Every attached file, by poppler.
fn detached(paper: &[u8]) -> BTreeMap<String, Vec<u8>> {
    let (pdf, folder) = (file(paper, ".pdf"), tempfile::tempdir().expect("a folder"));
    let run = Command::new("pdfdetach").args(["-saveall", "-o"]).arg(folder.path()).arg(pdf.path()).status();
    assert!(run.unwrap_or_else(|e| panic!("{e}; {INSTALL}")).success());
    let all = fs::read_dir(folder.path()).expect("a folder").map(|f| f.expect("a file"));
    all.map(|f| (f.file_name().to_string_lossy().into_owned(), fs::read(f.path()).expect("readable"))).collect()
}

/// Whether OpenSSL takes a signature; the key is PEM, or 32 bytes.
fn openssl_takes(key: &[u8], signed: &[u8], signature: &[u8]) -> bool {
    // a public key of this kind in DER, RFC 8410
    let der = [&[0x30, 0x2A, 0x30, 0x05, 0x06, 0x03, 0x2B, 0x65, 0x70, 0x03, 0x21, 0x00], key].concat();
    let (form, key) = if key.len() == 32 { ("DER", file(&der, ".der")) } else { ("PEM", file(key, ".pem")) };
    let (signed, signature) = (file(signed, ".signed"), file(signature, ".sig"));
    let path = |file: &tempfile::NamedTempFile| -> String { Path::new(file.path()).to_str().expect("UTF-8").to_owned() };
    let ask = ["pkeyutl", "-verify", "-pubin", "-keyform", form, "-rawin", "-inkey"].map(str::to_owned);
    let files = [path(&key), "-in".to_owned(), path(&signed), "-sigfile".to_owned(), path(&signature)];
    let run = Command::new("openssl").args(ask.iter().chain(&files)).output().unwrap_or_else(|e| panic!("{e}; {INSTALL}"));
    run.status.success()
}

fn hexadecimal(value: &Value) -> Vec<u8> {
    let text = value.as_str().expect("text");
    (0..text.len() / 2).map(|n| u8::from_str_radix(&text[2 * n..2 * n + 2], 16).expect("hexadecimal")).collect()
}

fn sha256sum(data: &[u8]) -> String {
    let file = file(data, ".bin");
    let out = Command::new("sha256sum").arg(file.path()).output().expect("sha256sum");
    String::from_utf8(out.stdout).expect("text").split_whitespace().next().expect("a sum").to_owned()
}

#[test]
fn openssl_and_sha256sum_take_every_signature_and_sum_from_the_attachments() {
    let mut office = Office::new();
    office.sound();
    office.review(Finding::Accepted, "");
    let files = detached(&office.left());
    let (manifest, key) = (&files["evidence.json"], &files["host.pem"]);
    assert!(openssl_takes(key, manifest, &files["evidence.sig"]));
    assert!(!openssl_takes(key, &[&manifest[..], b" "].concat(), &files["evidence.sig"]));
    let listed: Value = serde_json::from_slice(manifest).expect("JSON");
    let sums = listed["files"].as_array().expect("files");
    assert_eq!(sums.len() + 3, files.len(), "all but the list, its signature and the key");
    for sum in sums {
        assert_eq!(sum["sha256"], sha256sum(&files[sum["name"].as_str().expect("a name")]), "{sum}");
    }
    let entries: Value = serde_json::from_slice(&files["entries.json"]).expect("JSON");
    let entries = entries.as_array().expect("entries");
    assert_eq!(entries.len(), 2);
    for entry in entries {
        let number = |name: &str| u32::try_from(entry[name].as_u64().expect("a number")).expect("32 bits").to_le_bytes();
        let body = entry["body"].as_str().expect("text").as_bytes();
        let (host, number, before) = (number("host"), number("number"), hexadecimal(&entry["before"]));
        let summed = [b"borewitness entry 1\n", &host[..], &number, &before, body].concat();
        assert_eq!(entry["sum"], sha256sum(&summed), "{entry}");
        let signed = [b"borewitness entry signed 1\n".to_vec(), hexadecimal(&entry["sum"])].concat();
        assert!(openssl_takes(&hexadecimal(&entry["key"]), &signed, &hexadecimal(&entry["signature"])), "{entry}");
    }
    let review: Value = serde_json::from_str(entries[1]["body"].as_str().expect("text")).expect("JSON");
    let said = &review["said"];
    let signed = [b"borewitness review 1\n", said["short"].as_str().expect("text").as_bytes()].concat();
    assert!(openssl_takes(&hexadecimal(&said["key"]), &signed, &hexadecimal(&said["signature"])));
    assert!(!openssl_takes(&hexadecimal(&said["key"]), &signed[1..], &hexadecimal(&said["signature"])));
}

/// A reviewer's key is one that OpenSSL opens with the passphrase, and without it does not.
#[test]
fn openssl_opens_a_reviewers_key() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("key.pem");
    let made = host_tool::evidence::reviewer::make(&path, "four words of chance", &[0x31; 64]).expect("a key");
    let open = |passphrase: &str| {
        let passin = format!("pass:{passphrase}");
        let mut run = Command::new("openssl");
        run.args(["pkey", "-pubout", "-outform", "DER", "-passin", &passin, "-in"]).arg(&path);
        run.output().unwrap_or_else(|e| panic!("{e}; {INSTALL}"))
    };
    let opened = open("four words of chance");
    assert!(opened.stdout.ends_with(&made.verifying_key().to_bytes()), "{}", String::from_utf8_lossy(&opened.stderr));
    assert!(!open("another passphrase").status.success());
}
