//! The keys that somebody trusts, in a file that a person can read: one line each, what it signs, the key, and whose it is.
//!
//! ```text
//! # agreed with the owner on 2026-05-04
//! rig       4f…  auger 3
//! host      09…  tablet of crew 2
//! reviewer  a1…  M. Example
//! ```

use crate::text::terminal;
use data_encoding::HEXLOWER_PERMISSIVE;
use std::fmt;

/// Bytes of such a file; nobody trusts so many.
pub const FILE_BYTES: u64 = 1 << 20;

/// What a key signs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// A rig seals what it measured.
    Rig,
    /// A computer signs what was entered on it, and what it prints.
    Host,
    /// A person signs a review.
    Reviewer,
}

impl Role {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Rig, Self::Host, Self::Reviewer];

    /// In a word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Rig => "rig",
            Self::Host => "host",
            Self::Reviewer => "reviewer",
        }
    }
}

/// One key.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    /// What it signs.
    pub role: Role,
    /// The public key, Ed25519.
    pub key: [u8; 32],
    /// Whose it is.
    pub whose: String,
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:8}  {}  {}", self.role.word(), HEXLOWER_PERMISSIVE.encode(&self.key), terminal(&self.whose))
    }
}

/// The keys that are trusted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Trusted(Vec<Key>);

impl Trusted {
    /// Reads a file's text.
    ///
    /// # Errors
    /// A line that says which line is wrong and what would be right.
    pub fn read(text: &str) -> Result<Self, String> {
        let line = |(n, line): (usize, &str)| {
            let fault = || format!("line {n}: write rig, host or reviewer, then a key of 64 hexadecimal digits, then whose it is");
            let (role, rest) = line.split_once(char::is_whitespace).ok_or_else(fault)?;
            let role = Role::ALL.into_iter().find(|known| known.word() == role).ok_or_else(fault)?;
            let (key, whose) = rest.trim().split_once(char::is_whitespace).unwrap_or((rest.trim(), ""));
            let key = HEXLOWER_PERMISSIVE.decode(key.as_bytes()).ok().and_then(|key| key.try_into().ok()).ok_or_else(fault)?;
            Ok(Key { role, key, whose: whose.trim().to_owned() })
        };
        let lines = text.lines().map(str::trim).enumerate().map(|(n, line)| (n + 1, line));
        lines.filter(|(_, line)| !line.is_empty() && !line.starts_with('#')).map(line).collect::<Result<_, _>>().map(Self)
    }

    /// Takes in others too.
    pub fn extend(&mut self, others: Self) {
        self.0.extend(others.0);
    }

    /// Whose key it is; `None` where it is not trusted for that.
    #[must_use]
    pub fn whose(&self, role: Role, key: &[u8; 32]) -> Option<&str> {
        self.0.iter().find(|known| known.role == role && known.key == *key).map(|known| known.whose.as_str())
    }

    /// The keys that are trusted for something.
    pub fn of(&self, role: Role) -> impl Iterator<Item = &Key> {
        self.0.iter().filter(move |known| known.role == role)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_again() {
        let key = Key { role: Role::Reviewer, key: [0xA1; 32], whose: "M. Example".to_owned() };
        let text = format!("# agreed\n\n{key}\nrig {} auger 3\nhost {}\n", "0F".repeat(32), "09".repeat(32));
        let trusted = Trusted::read(&text).unwrap();
        assert_eq!(trusted.whose(Role::Reviewer, &[0xA1; 32]), Some("M. Example"));
        assert_eq!(trusted.whose(Role::Rig, &[0x0F; 32]), Some("auger 3"));
        assert_eq!((trusted.whose(Role::Host, &[9; 32]), trusted.whose(Role::Host, &[0x0F; 32])), (Some(""), None));
        assert_eq!(trusted.of(Role::Rig).count(), 1);
    }

    #[test]
    fn a_line_that_is_none_is_said() {
        for wrong in ["nobody 00", "rig", "rig 12", &format!("rig {}0", "0".repeat(64))] {
            assert!(Trusted::read(&format!("#\n{wrong}")).unwrap_err().starts_with("line 2: write rig, host or reviewer"), "{wrong}");
        }
    }
}
