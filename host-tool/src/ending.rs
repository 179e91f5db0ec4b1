//! How a hole ended, in one line: sealed or not and why, and whether what the rig sealed is what is in the store.

use crate::facts::{DigestState, SetUp};
use crate::judge::hole_name;
use crate::proof::Sealing;
use crate::text::terminal;

/// The end of a hole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ending {
    /// The hole's name, fit for a terminal.
    pub hole: String,
    /// Its seal.
    pub sealing: Sealing,
    /// How its records stand to the rig's digest.
    pub digest: DigestState,
}

impl Ending {
    /// Of a set-up as it is in the store.
    #[must_use]
    pub fn of(setup: &SetUp) -> Self {
        Self { hole: terminal(&hole_name(&setup.opened.body.plan)), sealing: setup.sealing, digest: setup.digest }
    }

    /// Whether nothing more is to come that could change it.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        !matches!(self.sealing, Sealing::Open | Sealing::Absent)
    }
}

impl std::fmt::Display for Ending {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { hole, sealing, digest } = self;
        match (sealing, digest) {
            (Sealing::Open, _) => write!(f, "{hole}: its closing record has not come, so it is not sealed as far as is known here"),
            (Sealing::NoKey, _) => write!(f, "{hole}: not sealed, the rig was never commissioned"),
            (Sealing::Refused, _) => write!(f, "{hole}: not sealed, the rig's memory refused the seal: have the memory looked into"),
            (Sealing::Absent, _) => {
                write!(f, "{hole}: not sealed, no seal has come: the rig's memory may have refused it; start the rig again and it seals")
            }
            (Sealing::Unfit(why), _) => write!(f, "{hole}: THE SEAL DOES NOT FIT, {}: have it looked into", why.text()),
            (Sealing::Fits(..), DigestState::Differs) => {
                write!(f, "{hole}: sealed, and THE RECORDS HERE ARE NOT WHAT WAS SEALED: have it looked into")
            }
            (Sealing::Fits(..), DigestState::Lacking) => {
                write!(f, "{hole}: {}; not provable in full, records of it are missing here", sealing.briefly())
            }
            (Sealing::Fits(..), _) => write!(f, "{hole}: {}, and the records here are what was sealed", sealing.briefly()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::{Before, Signer, Unfit};

    #[test]
    fn each_end_is_one_line_that_says_what_it_is() {
        let sealed = Sealing::Fits(Signer::Unknown, Before::First);
        let rows = [
            (sealed, DigestState::Fits, "S-1: sealed, signer unknown, and the records here are what was sealed"),
            (sealed, DigestState::Lacking, "S-1: sealed, signer unknown; not provable in full, records of it are missing here"),
            (sealed, DigestState::Differs, "S-1: sealed, and THE RECORDS HERE ARE NOT WHAT WAS SEALED: have it looked into"),
            (Sealing::NoKey, DigestState::Fits, "S-1: not sealed, the rig was never commissioned"),
            (Sealing::Refused, DigestState::Fits, "S-1: not sealed, the rig's memory refused the seal: have the memory looked into"),
            (
                Sealing::Unfit(Unfit::Signature),
                DigestState::Fits,
                "S-1: THE SEAL DOES NOT FIT, its signature is not that of its key: have it looked into",
            ),
            (
                Sealing::Absent,
                DigestState::Fits,
                "S-1: not sealed, no seal has come: the rig's memory may have refused it; start the rig again and it seals",
            ),
        ];
        for (sealing, digest, line) in rows {
            let ending = Ending { hole: "S-1".to_owned(), sealing, digest };
            assert_eq!((ending.to_string(), ending.is_settled()), (line.to_owned(), sealing != Sealing::Absent));
        }
    }
}
