//! Which devices may do what: the cab's own tablet at once, others once they are paired by the code that the cab shows; one
//! of them at a time holds the rig's acts.

use data_encoding::BASE64URL_NOPAD;
use std::time::{Duration, Instant};

/// A pairing ends after a shift.
pub const PAIRED_FOR: Duration = Duration::from_secs(12 * 3_600);
/// Devices that may be paired at once.
const DEVICES: usize = 32;
/// Wrong codes that are taken before there is another code.
const WRONG_MAX: u32 = 5;
/// No more than so many wrong codes are answered in a minute, from whomever.
const WRONG_A_MINUTE: u32 = 10;
/// The cookie that a paired device keeps.
pub const COOKIE: &str = "borewitness";
/// Bytes of a device's name.
pub const NAME_MAX: usize = 40;

/// Who asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Who {
    /// Whoever sits at the computer that this program runs on.
    Cab,
    /// A paired device, by its name and the number of its pairing.
    Paired(String, u64),
    /// Anybody else in the network, who may look.
    Looker,
}

impl Who {
    /// As records name it.
    pub fn name(&self) -> &str {
        match self {
            Self::Cab => "the cab's tablet",
            Self::Paired(name, _) => name,
            Self::Looker => "an unpaired device",
        }
    }
}

#[derive(Debug)]
struct Pairing {
    token: String,
    name: String,
    number: u64,
    until: Instant,
}

/// Why a device is not paired.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PairFault {
    /// The code is another.
    #[error("that is not the code that the cab shows now")]
    Wrong,
    /// Too many wrong ones.
    #[error("too many wrong codes: wait a minute, then look at the cab for the code")]
    TooMany,
    /// No name, or one too long.
    #[error("give this device a name of at most 40 bytes")]
    Nameless,
    /// No randomness to be had.
    #[error("this computer gives no random numbers: nothing can be paired")]
    NoChance,
}

/// The devices that are known.
#[derive(Debug)]
pub struct Devices {
    code: String,
    pairings: Vec<Pairing>,
    paired: u64,
    wrong: u32,
    wrong_since: Option<(Instant, u32)>,
    holder: Who,
}

fn chance<const N: usize>() -> Result<[u8; N], PairFault> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|_| PairFault::NoChance)?;
    Ok(bytes)
}

/// A name that nobody can guess.
pub fn token() -> Result<String, PairFault> {
    Ok(BASE64URL_NOPAD.encode(&chance::<32>()?))
}

fn new_code() -> Result<String, PairFault> {
    // 2⁶⁴ over a million: the bias towards small codes is one in 10¹³
    Ok(format!("{:06}", u64::from_le_bytes(chance()?) % 1_000_000))
}

impl Devices {
    /// Nobody is paired, and the cab holds the rig's acts.
    pub fn new() -> Result<Self, PairFault> {
        Ok(Self { code: new_code()?, pairings: Vec::new(), paired: 0, wrong: 0, wrong_since: None, holder: Who::Cab })
    }

    /// The code to pair by now.
    pub fn code(&self) -> &str {
        &self.code
    }

    /// Who has this cookie.
    pub fn who(&self, now: Instant, token: Option<&str>) -> Who {
        let known = |token: &str| self.pairings.iter().find(|pairing| pairing.token == token && now < pairing.until);
        token.and_then(known).map_or(Who::Looker, |pairing| Who::Paired(pairing.name.clone(), pairing.number))
    }

    /// Pairs a device; returns the cookie's value. Each code pairs one device.
    pub fn pair(&mut self, now: Instant, code: &str, name: &str) -> Result<String, PairFault> {
        let name = name.trim();
        if name.is_empty() || name.len() > NAME_MAX || name.contains(char::is_control) {
            return Err(PairFault::Nameless);
        }
        let (since, count) = self.wrong_since.filter(|(since, _)| now.duration_since(*since) < Duration::from_secs(60)).unwrap_or((now, 0));
        if count >= WRONG_A_MINUTE {
            return Err(PairFault::TooMany);
        }
        if code != self.code {
            self.wrong_since = Some((since, count + 1));
            self.wrong += 1;
            if self.wrong.is_multiple_of(WRONG_MAX) {
                self.code = new_code()?;
            }
            return Err(PairFault::Wrong);
        }
        let token = token()?;
        self.code = new_code()?;
        self.pairings.retain(|pairing| now < pairing.until);
        if self.pairings.len() >= DEVICES {
            self.pairings.remove(0);
        }
        self.paired += 1;
        self.pairings.push(Pairing { token: token.clone(), name: name.to_owned(), number: self.paired, until: now + PAIRED_FOR });
        Ok(token)
    }

    /// Takes the rig's acts for a device; `false` for one that may not.
    pub fn hold(&mut self, who: &Who) -> bool {
        let may = *who != Who::Looker;
        if may {
            self.holder = who.clone();
        }
        may
    }

    /// Whether this device holds the rig's acts.
    pub fn holds(&self, who: &Who) -> bool {
        *who != Who::Looker && self.holder == *who
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_is_paired_by_the_code_that_is_shown_and_each_code_once() {
        let now = Instant::now();
        let mut devices = Devices::new().unwrap();
        let code = devices.code().to_owned();
        assert!(code.len() == 6 && code.bytes().all(|b| b.is_ascii_digit()));
        assert_eq!(devices.pair(now, &code, " "), Err(PairFault::Nameless));
        let token = devices.pair(now, &code, "Phone").unwrap();
        assert_eq!(devices.who(now, Some(&token)), Who::Paired("Phone".into(), 1));
        assert_eq!((devices.who(now, None), devices.who(now, Some("x"))), (Who::Looker, Who::Looker));
        assert_eq!(devices.who(now + PAIRED_FOR, Some(&token)), Who::Looker, "a pairing ends");
        if devices.code() != code {
            assert_eq!(devices.pair(now, &code, "Another"), Err(PairFault::Wrong));
        }
    }

    #[test]
    fn guessing_changes_the_code_and_is_stopped() {
        let now = Instant::now();
        let mut devices = Devices::new().unwrap();
        let mut codes = vec![devices.code().to_owned()];
        for _ in 0..10 {
            assert_eq!(devices.pair(now, "no code", "Thief"), Err(PairFault::Wrong));
            codes.push(devices.code().to_owned());
        }
        codes.dedup();
        assert!(codes.len() >= 2, "the code has changed");
        let code = devices.code().to_owned();
        assert_eq!(devices.pair(now, &code, "Thief"), Err(PairFault::TooMany), "even the right one");
        assert!(devices.pair(now + Duration::from_secs(61), &code, "Friend").is_ok());
    }

    #[test]
    fn one_device_holds_the_acts_and_hand_over_is_explicit() {
        let now = Instant::now();
        let mut devices = Devices::new().unwrap();
        let code = devices.code().to_owned();
        let token = devices.pair(now, &code, "Phone").unwrap();
        let phone = devices.who(now, Some(&token));
        assert!(devices.holds(&Who::Cab) && !devices.holds(&phone) && !devices.holds(&Who::Looker));
        assert!(devices.hold(&phone) && devices.holds(&phone) && !devices.holds(&Who::Cab));
        assert!(!devices.hold(&Who::Looker) && devices.holds(&phone));
        assert!(devices.hold(&Who::Cab) && devices.holds(&Who::Cab));
    }

    #[test]
    fn no_more_devices_are_kept_than_stated() {
        let now = Instant::now();
        let mut devices = Devices::new().unwrap();
        for n in 0..40 {
            let code = devices.code().to_owned();
            devices.pair(now, &code, &format!("Phone {n}")).unwrap();
        }
        assert_eq!(devices.pairings.len(), DEVICES);
    }
}
