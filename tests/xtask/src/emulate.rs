//! `emulate`: runs the image on an emulated board, serves its ports as sockets, and shows its log.

use crate::emulator::Run;
use crate::image::Image;
use crate::{Outcome, board, firmware, log};
use std::path::PathBuf;
use std::process::Child;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::Duration;

#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Where the sockets `host` and `sensors` appear and the rig's memory is kept between runs
    #[arg(long, value_name = "FOLDER")]
    dir: Option<PathBuf>,

    /// Join the sensor line to this unix socket, or to HOST:PORT, instead of serving it
    #[arg(long, value_name = "SOCKET")]
    sensors: Option<String>,

    /// Let a bench tell the time over the socket `time`; all three ports wait until somebody is there
    #[arg(long)]
    lock_step: bool,

    /// Run this image instead of building one
    #[arg(long, value_name = "ELF")]
    image: Option<PathBuf>,

    /// Stop after so many seconds; otherwise run until interrupted
    #[arg(long = "for", value_name = "SECONDS")]
    seconds: Option<u64>,
}

pub fn run(arguments: &Arguments) -> Outcome {
    let path = arguments.image.clone().map_or_else(firmware::build, Ok)?;
    let image = Image::read(&path)?;
    let folder = arguments.dir.clone().unwrap_or_else(|| board::target_folder().join("emulated"));
    let run = Run {
        image: &path,
        strap: image.strap,
        folder: &folder,
        lock_step: arguments.lock_step,
        sensors: arguments.sensors.as_deref(),
        counted: false,
    };
    let mut emulator = run.start()?;
    println!("host link: {}", run.socket("host").display());
    println!("sensor line: {}", arguments.sensors.clone().unwrap_or_else(|| run.socket("sensors").display().to_string()));
    if arguments.lock_step {
        println!("time: {}", run.socket("time").display());
    }
    let ended = show(&mut emulator, image, arguments.seconds);
    let _ = emulator.kill(); // it may have ended by itself
    let status = emulator.wait().map_err(|error| error.to_string())?;
    match ended? {
        Ended::TimeIsUp => Ok(()),
        Ended::ByItself => Err(format!("the emulator has stopped ({status}): {}", run.last_words())),
    }
}

enum Ended {
    TimeIsUp,
    ByItself,
}

/// Shows the log until the emulator ends or the time is up.
fn show(emulator: &mut Child, image: Image, seconds: Option<u64>) -> Outcome<Ended> {
    let out = emulator.stdout.take().ok_or("the emulator's log is not connected")?;
    let (over, wait): (Sender<Outcome>, _) = channel();
    thread::spawn(move || {
        // Nobody is there to be told once the time is up.
        let _ = over.send(log::decode(&image.bytes, out, |line| println!("{line}")));
    });
    let outcome = match seconds {
        Some(seconds) => wait.recv_timeout(Duration::from_secs(seconds)),
        None => wait.recv().map_err(|_| RecvTimeoutError::Disconnected),
    };
    match outcome {
        Ok(decoded) => decoded.map(|()| Ended::ByItself),
        Err(RecvTimeoutError::Timeout) => Ok(Ended::TimeIsUp),
        Err(RecvTimeoutError::Disconnected) => Err("the log's reader has failed".into()),
    }
}
