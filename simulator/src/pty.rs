//! A pseudo-terminal with a name that stays: the rig's host link as a serial port that any host can open.

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, fcntl_setfl, open};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, QueueSelector, tcflush, tcgetattr, tcsetattr};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};

/// The near end of a pseudo-terminal; the far end is under the link's name. The link goes when this is dropped.
#[derive(Debug)]
pub struct Pty {
    near: OwnedFd,
    link: PathBuf,
    far_open: bool,
}

impl Pty {
    /// Makes one, with a link to its far end. A link of an earlier run is replaced; anything else is left alone.
    ///
    /// # Errors
    /// When the system gives no pseudo-terminal or the link cannot be made.
    pub fn open(link: &Path) -> std::io::Result<Self> {
        let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY)?;
        grantpt(&near)?;
        unlockpt(&near)?;
        let far = ptsname(&near, Vec::new())?;
        // Raw, or the line discipline would change bytes. The setting stays as long as the near end is open.
        let far_end = far_end(&near)?;
        let mut settings = tcgetattr(&far_end)?;
        settings.make_raw();
        tcsetattr(&far_end, OptionalActions::Now, &settings)?;
        fcntl_setfl(&near, OFlags::NONBLOCK)?;
        if link.is_symlink() {
            std::fs::remove_file(link)?;
        }
        std::os::unix::fs::symlink(far.to_string_lossy().as_ref(), link)?;
        Ok(Self { near, link: link.to_path_buf(), far_open: false })
    }

    /// Whether somebody has the far end open.
    pub fn is_open(&mut self) -> bool {
        let mut ports = [PollFd::new(&self.near, PollFlags::OUT)];
        let now = Timespec { tv_sec: 0, tv_nsec: 0 };
        let open = poll(&mut ports, Some(&now)).is_ok() && !ports[0].revents().contains(PollFlags::HUP);
        if self.far_open && !open {
            // What the last one did not read is not for the next one. It lies at the far end; that it may stay there
            // is no worse than a port that was never emptied.
            let _ = far_end(&self.near).and_then(|far| tcflush(&far, QueueSelector::IOFlush));
        }
        self.far_open = open;
        open
    }

    /// What has come from the far end, without waiting.
    pub fn read(&mut self) -> Vec<u8> {
        let mut bytes = [0; 4_096];
        match rustix::io::read(&self.near, &mut bytes[..]) {
            Ok(count) => bytes[..count].to_vec(),
            Err(_) => Vec::new(), // nothing there, or nobody
        }
    }

    /// Sends to the far end without waiting: what nobody takes is lost, as on a cable. Returns how much went.
    pub fn write(&mut self, bytes: &[u8]) -> usize {
        if bytes.is_empty() || !self.is_open() {
            return 0;
        }
        rustix::io::write(&self.near, bytes).unwrap_or(0)
    }
}

fn far_end(near: &OwnedFd) -> rustix::io::Result<OwnedFd> {
    open(ptsname(near, Vec::new())?.as_c_str(), OFlags::RDWR | OFlags::NOCTTY, Mode::empty())
}

impl Drop for Pty {
    fn drop(&mut self) {
        // Only a link that still is ours: another bench may have put its own there.
        let ours = ptsname(&self.near, Vec::new())
            .is_ok_and(|far| std::fs::read_link(&self.link).is_ok_and(|to| to.to_string_lossy() == far.to_string_lossy()));
        if ours {
            let _ = std::fs::remove_file(&self.link);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs::{File, OpenOptions};
    use std::io::{Read, Write};
    use std::os::unix::fs::OpenOptionsExt;

    fn far(link: &Path) -> File {
        let flags = (OFlags::NOCTTY | OFlags::NONBLOCK).bits().cast_signed();
        OpenOptions::new().read(true).write(true).custom_flags(flags).open(link).unwrap()
    }

    /// What comes within two seconds, up to so many bytes.
    fn hear(host: &mut File, wanted: usize) -> Vec<u8> {
        let mut heard = Vec::new();
        let _ = crate::wall_clock::keep_trying(2_000, || {
            let mut bytes = [0; 512];
            let count = host.read(&mut bytes).unwrap_or(0);
            heard.extend_from_slice(&bytes[..count]);
            if heard.len() >= wanted { Ok(()) } else { Err(()) }
        });
        heard
    }

    #[test]
    fn every_byte_goes_through_unchanged_either_way() {
        let folder = tempfile::TempDir::new().unwrap();
        let link = folder.path().join("rig");
        let mut pty = Pty::open(&link).unwrap();
        let all: Vec<u8> = (0..=255).collect();
        let mut host = far(&link);
        assert_eq!(pty.write(&all), 256);
        assert_eq!(hear(&mut host, 256), all);
        host.write_all(&all).unwrap();
        assert_eq!(pty.read(), all);
        assert_eq!(pty.read(), []);
    }

    #[test]
    fn what_is_sent_while_nobody_listens_is_gone_and_the_next_one_starts_clean() {
        let folder = tempfile::TempDir::new().unwrap();
        let link = folder.path().join("rig");
        let mut pty = Pty::open(&link).unwrap();
        assert_eq!(pty.write(b"nobody"), 0);
        let host = far(&link);
        assert_eq!(pty.write(b"unread"), 6);
        drop(host);
        assert_eq!((pty.is_open(), pty.write(b"nobody again")), (false, 0));
        let mut host = far(&link);
        assert_eq!(pty.write(b"new"), 3);
        assert_eq!(hear(&mut host, 3), b"new");
    }

    #[test]
    fn a_stale_link_is_replaced_a_file_is_not_and_ours_goes_with_us() {
        let folder = tempfile::TempDir::new().unwrap();
        let link = folder.path().join("rig");
        std::os::unix::fs::symlink("/nowhere/at/all", &link).unwrap();
        let pty = Pty::open(&link).unwrap();
        assert!(link.exists());
        drop(pty);
        assert!(!link.is_symlink());
        std::fs::write(&link, "somebody's file").unwrap();
        assert!(Pty::open(&link).is_err());
        assert_eq!(std::fs::read_to_string(&link).unwrap(), "somebody's file");
    }
}
