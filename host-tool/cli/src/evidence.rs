//! `verify`, `review` and `key`: who vouches for a record, and whether a print still says what it said.

use crate::args::{FindingWord, Reviewed as Typed};
use crate::enter::put;
use crate::show::limits_text;
use crate::station::wall;
use crate::{Failure, stores};
use console::Term;
use data_encoding::HEXLOWER;
use host_tool::entry::{Finding, SetUpName};
use host_tool::evidence::collect::{of, of_structure};
use host_tool::evidence::keys::{self, Key, Role, Trusted};
use host_tool::evidence::review::Reviewed;
use host_tool::evidence::reviewer;
use host_tool::evidence::scan::{self, Signer};
use host_tool::evidence::verify::{self, State};
use host_tool::holes::catalogue;
use host_tool::holes::index::Index;
use host_tool::text::terminal;
use std::fs::File;
use std::io::{Read, Write, stderr, stdin, stdout};
use std::path::{Path, PathBuf};

/// What is checked.
#[derive(Debug)]
pub enum Print {
    /// A file.
    File(PathBuf),
    /// A photograph of a print's code.
    Photograph(PathBuf),
}

/// Checks a paper, or a photograph of one.
pub fn verify(what: &Print, trust: Option<&Path>) -> Result<(), Failure> {
    let trusted = trust.map(trusted).transpose()?;
    match what {
        Print::File(path) => file(&bytes(path, verify::FILE_BYTES)?, trusted.as_ref()),
        Print::Photograph(path) => photograph(path, &trusted.unwrap_or_default()),
    }
}

fn file(paper: &[u8], trusted: Option<&Trusted>) -> Result<(), Failure> {
    let (lines, state) = said(paper, trusted);
    for line in lines {
        writeln!(stdout(), "{line}")?;
    }
    if state == State::Fails { Err(Failure::Said) } else { Ok(()) }
}

/// What a paper is worth to somebody who trusts no key yet, line by line.
pub fn in_words(paper: &[u8]) -> Vec<String> {
    said(paper, None).0
}

fn said(paper: &[u8], trusted: Option<&Trusted>) -> (Vec<String>, State) {
    let report = verify::verify(paper, trusted);
    let word = |state: State| match state {
        State::Holds => "holds",
        State::Open => "open ",
        State::Fails => "FAILS",
    };
    let title = Some(report.title.clone()).filter(|title| !title.is_empty());
    let checked = report.checked.iter().map(|checked| format!("  {}  {}", word(checked.state), checked.what));
    let (state, trusting) = (report.state(), report.trusting);
    (title.into_iter().chain(checked).chain([verdict(state, trusting).to_owned()]).collect(), state)
}

/// What comes out of all that was checked.
fn verdict(state: State, trusting: bool) -> &'static str {
    match (state, trusting) {
        (State::Fails, _) => "NOT AS IT WAS SIGNED, or signed by somebody you do not trust: see what fails",
        (_, false) => {
            "Consistent, signer unknown: anybody could have made such a paper with keys of his own; name those you trust with --trust"
        }
        (State::Open, true) => "Consistent, and by keys you trust as far as it is signed: see what is open",
        (State::Holds, true) => "Consistent, and everything is signed by keys you trust",
    }
}

fn photograph(path: &Path, trusted: &Trusted) -> Result<(), Failure> {
    let code = scan::read(&bytes(path, scan::IMAGE_BYTES)?).map_err(|e| Failure::Failed(format!("{}: {e}", shown(path))))?;
    let scanned = scan::signer(&code, trusted);
    let mut out = stdout();
    for line in scanned.text.lines() {
        writeln!(out, "  {}", terminal(line))?;
    }
    writeln!(out, "in, out: measured within, outside the limit; + shown so; ? not known. Compare each figure with the print.")?;
    match scanned.signer {
        Signer::Nobody => Ok(writeln!(out, "UNREVIEWED: nobody has signed this, and nothing is proven")?),
        Signer::Trusted(whose) => Ok(writeln!(out, "Signed by a reviewer you trust: {}", terminal(&whose))?),
        Signer::Unknown(key) => Ok(writeln!(out, "Signer unknown, not checked: have key {} named with --trust", terminal(&key))?),
        Signer::Forged(key) => {
            writeln!(out, "NOT AS IT WAS SIGNED: the signature is not that of key {}", terminal(&key))?;
            Err(Failure::Said)
        }
    }
}

fn trusted(path: &Path) -> Result<Trusted, Failure> {
    let text = String::from_utf8(bytes(path, keys::FILE_BYTES)?);
    let text = text.map_err(|_| Failure::Failed(format!("{} is not text: `borewitness key --list` writes such a file", shown(path))))?;
    Trusted::read(&text).map_err(|e| Failure::Failed(format!("{}, {e}", shown(path))))
}

fn bytes(path: &Path, most: u64) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(most.saturating_add(1)).read_to_end(&mut bytes));
    read.map_err(|e| Failure::Failed(format!("{} cannot be read: {e}", shown(path))))?;
    if bytes.len() as u64 > most {
        return Err(Failure::Failed(format!("{} is larger than any that is looked at: {} MiB", shown(path), most >> 20)));
    }
    Ok(bytes)
}

/// What is to be signed, by whom.
#[derive(Debug)]
pub struct Signing<'a> {
    /// The hole as `holes` lists it.
    pub hole: &'a str,
    /// What the reviewer finds.
    pub finding: FindingWord,
    /// Why.
    pub reason: &'a str,
    /// Who.
    pub who: &'a str,
    /// The file with the key.
    pub key: &'a Path,
    /// The limits that it was judged by.
    pub limits: Option<&'a str>,
}

/// Signs a review of a hole's record.
pub fn review(typed: &Typed, path: &Path) -> Result<(), Failure> {
    let limits = typed.limits.as_deref().map(limits_text).transpose()?.map(|(text, _)| text);
    let Typed { hole, finding, reason, who, key, .. } = typed;
    let signing = Signing { hole, finding: *finding, reason, who, key, limits: limits.as_deref() };
    let said = sign(&signing, path, || passphrase(&format!("Passphrase of {}", shown(key))))?;
    Ok(writeln!(stdout(), "{said}")?)
}

/// Signs a review with a key that a passphrase opens; what was signed, in words.
pub fn sign(asked: &Signing<'_>, path: &Path, passphrase: impl FnOnce() -> Result<String, Failure>) -> Result<String, Failure> {
    let mut store = stores::open_existing(path)?;
    let index = Index::of(&store)?;
    let [named] = index.called(&[asked.hole.to_owned()])?[..] else {
        let said = format!("several holes are called \"{}\": use the handle that `borewitness holes` gives", terminal(asked.hole));
        return Err(Failure::Failed(said));
    };
    let evidence = of_structure(&store, &of(&named.found), asked.limits, None)?;
    let judged = evidence.judged().map_err(|e| Failure::Failed(e.to_string()))?;
    let name = SetUpName::new(&named.found.stream, named.found.opened);
    let hole = judged.holes.iter().find(|hole| hole.set_up_name() == name);
    let reviewed = hole.and_then(|hole| Some((hole, Reviewed::of(&evidence, &judged, hole)?)));
    let (hole, reviewed) = reviewed.ok_or_else(|| Failure::Failed("the hole's evidence is not in the store".to_owned()))?;
    let key = reviewer::open(asked.key, &passphrase()?)?;
    let finding = match asked.finding {
        FindingWord::Accept => Finding::Accepted,
        FindingWord::Return => Finding::Returned,
    };
    let entry = reviewed.review(hole, asked.who, wall(), finding, asked.reason, &key).map_err(|e| Failure::Usage(e.to_string()))?;
    let place = put(&mut store, &entry)?;
    let host_tool::entry::Said::Reviewed { short, .. } = &entry.said else { return Ok(String::new()) };
    let lines = short.lines().map(terminal).collect::<Vec<_>>().join("\n  ");
    Ok(format!("{}: {} by {}; entry {place}. What was signed:\n  {lines}", terminal(&named.handle), finding.word(), terminal(&entry.by)))
}

/// Makes a reviewer's key.
pub fn make_key(path: &Path) -> Result<(), Failure> {
    let first = passphrase(&format!("New passphrase for {}, {} characters or more", shown(path), reviewer::PASSPHRASE_CHARS))?;
    if Term::stderr().is_term() && passphrase("The same again")? != first {
        return Err(Failure::Failed("the two differ: nothing was made".to_owned()));
    }
    let mut chance = [0; 64];
    getrandom::fill(&mut chance).map_err(|e| Failure::Failed(format!("this computer gives no random numbers for a key: {e}")))?;
    let key = reviewer::make(path, &first, &chance)?;
    let public = Key { role: Role::Reviewer, key: key.verifying_key().to_bytes(), whose: "YOUR NAME".to_owned() };
    writeln!(stdout(), "{} holds the key; whoever has it and its passphrase signs as you. For those who trust you:", shown(path))?;
    Ok(writeln!(stdout(), "{public}")?)
}

/// A line that is not shown, from the terminal, or from a pipe.
fn passphrase(prompt: &str) -> Result<String, Failure> {
    write!(stderr(), "{prompt}: ")?;
    let term = Term::stderr();
    if term.is_term() && console::user_attended() {
        return Ok(term.read_secure_line()?);
    }
    let mut line = String::new();
    stdin().read_line(&mut line)?;
    writeln!(stderr())?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
}

/// Lists every key that something in the store is signed with.
pub fn list_keys(path: &Path) -> Result<(), Failure> {
    let store = stores::open_existing(path)?;
    let mut all: std::collections::BTreeSet<Key> = std::collections::BTreeSet::new();
    for hole in catalogue(&store)?.holes {
        let sealed = hole.setup.seal.as_ref().map(|seal| seal.body.key);
        all.extend(sealed.map(|key| Key { role: Role::Rig, key, whose: hole.stream.rig.clone() }));
        for told in &hole.entries {
            let host_tool::entry::Said::Reviewed { key, .. } = &told.entry.said else { continue };
            let key = HEXLOWER.decode(key.as_bytes()).ok().and_then(|key| key.try_into().ok());
            all.extend(key.map(|key| Key { role: Role::Reviewer, key, whose: told.entry.by.clone() }));
        }
    }
    for link in store.links()? {
        let host = format!("host {}", link.place.host);
        all.extend(link.signed.map(|signed| Key { role: Role::Host, key: signed.key, whose: host }));
    }
    all.insert(Key { role: Role::Host, key: store.key()?.verifying_key().to_bytes(), whose: format!("host {}", store.host()?) });
    writeln!(
        stdout(),
        "# Keys that this store's records are signed with. Compare each with its owner before you trust it; take out the others."
    )?;
    for key in all {
        writeln!(stdout(), "{key}")?;
    }
    Ok(())
}

fn shown(path: &Path) -> String {
    terminal(&path.display().to_string())
}
