//! The pages that `listen` serves itself: the cab's readout live, and what may be asked from it.
//!
//! The server has a thread of its own and never touches rig or store: it shows the newest sight that the desk gave it and
//! passes on what is asked. Whatever happens to it, listening goes on.

mod act;
mod assets;
mod busy;
mod catalogue;
mod deeds;
mod devices;
mod door;
mod drawing;
mod entered;
mod frame;
mod ground;
mod holes;
mod out;
mod photographs;
mod places;
mod plans;
mod press;
mod record;
mod routes;
mod state;
mod structures;

pub use act::Act;
pub use deeds::{Deed, Deeds};
pub use devices::Who;
pub use state::Asked;

use crate::Failure;
use devices::{Devices, PairFault, token};
use host_tool::text::terminal;
use places::Limited;
use state::Shared;
use std::net::{Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread::JoinHandle;
use tokio::sync::{oneshot, watch};

/// Where the page is unless something else is said or has the port.
pub const USUAL_PORT: u16 = 8_417;
/// Presses that may wait for the desk.
const WAITING: usize = 64;

/// What is wanted of the pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// The port; `None` for the usual one, or any that is free.
    pub port: Option<u16>,
    /// For other devices on the network too.
    pub share: bool,
}

/// The pages being served. Dropping it ends that.
#[derive(Debug)]
pub struct Page {
    /// Where they are.
    pub address: SocketAddr,
    /// This run of the program.
    pub run: String,
    /// What is asked.
    pub asked: Receiver<Asked>,
    shared: Arc<Shared>,
    sights: watch::Sender<Arc<str>>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl From<PairFault> for Failure {
    fn from(fault: PairFault) -> Self {
        Self::Failed(fault.to_string())
    }
}

impl Page {
    /// Begins to serve.
    pub fn start(wanted: Wanted, store: &Path) -> Result<Self, Failure> {
        let listener = bind(wanted)?;
        let failed = |e: std::io::Error| Failure::Failed(format!("the page cannot be served: {e}"));
        listener.set_nonblocking(true).map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        let run = token()?;
        let (sights, seen) = watch::channel(Arc::from(format!("{{\"run\":\"{run}\"}}")));
        let (asks, asked) = sync_channel(WAITING);
        let (stop, stopped) = oneshot::channel();
        let shared = Arc::new(Shared::new(run.clone(), address, store.to_owned(), seen, asks, Devices::new()?));
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_io().enable_time().build().map_err(failed)?;
        let routes = routes::router(shared.clone());
        let thread = std::thread::spawn(move || {
            runtime.block_on(async {
                let Ok(listener) = tokio::net::TcpListener::from_std(listener) else { return };
                let serving = axum::serve(Limited::new(listener), routes.into_make_service_with_connect_info::<places::Peer>());
                tokio::select! {
                    _ = async { serving.await } => {}
                    _ = stopped => {}
                }
            });
            runtime.shutdown_background(); // whoever still looks is cut off
        });
        Ok(Self { address, run, asked, shared, sights, stop: Some(stop), thread: Some(thread) })
    }

    /// Shows this from now on.
    pub fn show(&self, sight: String) {
        self.sights.send_replace(Arc::from(sight));
    }

    /// Whether anybody looks: what nobody sees need not be made.
    pub fn is_watched(&self) -> bool {
        self.sights.receiver_count() > 1
    }

    /// Where it is, for people.
    pub fn greeting(&self) -> String {
        let port = self.address.port();
        if self.address.ip().is_loopback() {
            return format!("the page is at http://127.0.0.1:{port}/, on this computer only");
        }
        let code = self.shared.devices().code().to_owned();
        let there = own_address().map_or_else(|| "this computer's address".to_owned(), |ip| ip.to_string());
        format!(
            "the page is at http://{there}:{port}/ for anybody on this network to look at; a device that shall do more is paired with {code}. \
             What goes over the network is not encrypted: use one that is yours"
        )
    }

    /// Where it is, for a browser on this computer.
    pub fn url(&self) -> String {
        format!("http://127.0.0.1:{}/", self.address.port())
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            drop(thread.join());
        }
    }
}

fn bind(wanted: Wanted) -> Result<TcpListener, Failure> {
    let ip = if wanted.share { Ipv4Addr::UNSPECIFIED } else { Ipv4Addr::LOCALHOST };
    let there = |port: u16| TcpListener::bind((ip, port));
    match wanted.port {
        Some(port) => {
            there(port).map_err(|e| Failure::Failed(format!("port {port} cannot be had for the page: {e}; name another with --page-port")))
        }
        None => there(USUAL_PORT).or_else(|_| there(0)).map_err(|e| Failure::Failed(format!("no port can be had for the page: {e}"))),
    }
}

/// The address by which others in the network reach this computer. Nothing is sent.
fn own_address() -> Option<std::net::IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?; // TEST-NET-1, RFC 5737
    Some(socket.local_addr().ok()?.ip())
}

/// A text as it stands in an address.
fn query(text: &str) -> String {
    form_urlencoded::byte_serialize(text.as_bytes()).collect()
}

/// Opens the page in whatever shows pages here.
pub fn open(url: &str) -> Result<(), Failure> {
    let (program, before): (&str, &[&str]) = match std::env::consts::OS {
        "windows" => ("explorer", &[]),
        "macos" => ("open", &[]),
        _ => ("xdg-open", &[]),
    };
    let started = std::process::Command::new(program).args(before).arg(url).spawn();
    started.map(drop).map_err(|e| Failure::Failed(format!("no browser can be started ({}): open {url} yourself", terminal(&e.to_string()))))
}
