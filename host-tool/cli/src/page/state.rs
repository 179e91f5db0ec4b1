//! What all requests share, and how they are answered when something is wrong.

use super::act::Act;
use super::busy::Costly;
use super::catalogue::Known;
use super::deeds::Names;
use super::devices::{Devices, Who};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::json;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::mpsc::SyncSender;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::watch;

/// What a page asks of the desk.
#[derive(Debug)]
pub struct Asked {
    /// Who.
    pub who: Who,
    /// The page's name for it.
    pub id: String,
    /// What.
    pub act: Act,
}

/// What was read of the store.
#[derive(Debug, Default)]
pub struct Kept {
    /// Nothing before the first request.
    pub known: Option<Arc<Known>>,
    /// Something was written since.
    pub old: bool,
}

/// Shared by all requests.
#[derive(Debug)]
pub struct Shared {
    /// This run of the program.
    pub run: String,
    /// The port that is listened on.
    pub port: u16,
    /// Whether other devices can reach it.
    pub is_shared: bool,
    /// Where the records are.
    pub store: PathBuf,
    /// What is to be seen now, as JSON.
    pub sights: watch::Receiver<Arc<str>>,
    /// To the desk.
    pub asks: SyncSender<Asked>,
    /// Who may do work that takes long.
    pub costly: Costly,
    devices: Mutex<Devices>,
    names: Mutex<Names>,
    known: Mutex<Kept>,
}

impl Shared {
    /// Nobody has asked anything yet; served at this address.
    pub fn new(
        run: String,
        at: SocketAddr,
        store: PathBuf,
        sights: watch::Receiver<Arc<str>>,
        asks: SyncSender<Asked>,
        devices: Devices,
    ) -> Self {
        let (port, is_shared) = (at.port(), !at.ip().is_loopback());
        Self {
            run,
            port,
            is_shared,
            store,
            sights,
            asks,
            devices: Mutex::new(devices),
            names: Mutex::default(),
            known: Mutex::default(),
            costly: Costly::default(),
        }
    }

    /// The devices. No lock is held over anything that can fail.
    pub fn devices(&self) -> MutexGuard<'_, Devices> {
        self.devices.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What was read of the store last.
    pub fn known(&self) -> MutexGuard<'_, Kept> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Something was written here: what was read is old.
    pub fn forget(&self) {
        self.known().old = true;
    }

    /// The names of presses.
    pub fn names(&self) -> MutexGuard<'_, Names> {
        self.names.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// An answer that says what is wrong in one line.
pub fn error(status: StatusCode, why: &str) -> Response {
    (status, [(header::CONTENT_TYPE, "application/json")], json!({ "error": why }).to_string()).into_response()
}
