//! Connections, no more than so many at a time: whoever opens hundreds is cut off, and listening does not suffer.

use axum::extract::connect_info::Connected;
use axum::serve::{IncomingStream, Listener};
use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};

/// From everywhere.
const ALL: usize = 128;
/// From one address: a browser takes six, and a tablet may have a few pages open.
const FROM_ONE: usize = 32;

/// Who is connected.
#[derive(Clone, Copy, Debug)]
pub struct Peer(pub SocketAddr);

impl Connected<IncomingStream<'_, Limited>> for Peer {
    fn connect_info(stream: IncomingStream<'_, Limited>) -> Self {
        Self(*stream.remote_addr())
    }
}

type Counts = Arc<Mutex<BTreeMap<IpAddr, usize>>>;

/// A listener that has so many places.
#[derive(Debug)]
pub struct Limited {
    listener: TcpListener,
    counts: Counts,
}

impl Limited {
    /// All places are free.
    pub fn new(listener: TcpListener) -> Self {
        Self { listener, counts: Counts::default() }
    }
}

/// A place taken, until it is dropped.
#[derive(Debug)]
struct Place(Counts, IpAddr);

impl Place {
    fn take(counts: &Counts, ip: IpAddr) -> Option<Self> {
        let mut held = counts.lock().unwrap_or_else(PoisonError::into_inner);
        let (all, own) = (held.values().sum::<usize>(), held.get(&ip).copied().unwrap_or(0));
        (all < ALL && own < FROM_ONE).then(|| {
            held.insert(ip, own + 1);
            Self(counts.clone(), ip)
        })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = held.get_mut(&self.1) {
            *count -= 1;
            if *count == 0 {
                held.remove(&self.1);
            }
        }
    }
}

/// A connection with its place.
#[derive(Debug)]
pub struct Counted {
    stream: TcpStream,
    _place: Place,
}

impl Listener for Limited {
    type Io = Counted;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Counted, SocketAddr) {
        loop {
            match self.listener.accept().await {
                Ok((stream, from)) => {
                    let Some(place) = Place::take(&self.counts, from.ip()) else { continue }; // dropped, hence closed
                    let _ = stream.set_nodelay(true); // a sight that waits for the next one is late
                    return (Counted { stream, _place: place }, from);
                }
                Err(_) => tokio::time::sleep(Duration::from_millis(50)).await, // out of file descriptors, as a rule
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

impl AsyncRead for Counted {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, buffer)
    }
}

impl AsyncWrite for Counted {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_given_back_and_nobody_takes_all() {
        let counts = Counts::default();
        let ip = |n: u8| IpAddr::from([10, 0, 0, n]);
        let mut held: Vec<Place> = (0..FROM_ONE).filter_map(|_| Place::take(&counts, ip(1))).collect();
        assert_eq!(held.len(), FROM_ONE);
        assert!(Place::take(&counts, ip(1)).is_none() && Place::take(&counts, ip(2)).is_some());
        held.pop();
        held.push(Place::take(&counts, ip(1)).unwrap());
        for n in 2..=9 {
            held.extend((0..FROM_ONE).filter_map(|_| Place::take(&counts, ip(n))));
        }
        assert_eq!(held.len(), ALL);
        assert!(Place::take(&counts, ip(200)).is_none());
        drop(held);
        assert!(counts.lock().unwrap().is_empty());
    }
}
