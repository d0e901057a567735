//! A real mail server on loopback that misbehaves on request.
//!
//! It speaks SMTP over a socket, keeps each byte that passes and each message
//! that it took, and follows a [`Script`] that says at which step to answer
//! something else, too much, too late or not at all. What it took is counted
//! here and nowhere else: a message counts from the moment its `250` is about
//! to be written.

mod script;
mod session;

pub use script::{Act, Duplex, Script, Step, Wrap};

use std::collections::HashMap;
use std::io;
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex, MutexGuard};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// A message that the listener answered with 2xx.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Received {
    /// Which connection brought it, counted from 1.
    pub connection: usize,
    /// The address in MAIL FROM.
    pub from: String,
    /// The addresses in RCPT TO that were answered with 2xx, in order.
    pub to: Vec<String>,
    /// The message as it was before dot-stuffing, without the closing dot.
    pub bytes: Vec<u8>,
}

impl Received {
    /// The message as text; it is ASCII if the sender keeps to the rules.
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }
}

/// Who said some bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speaker {
    /// The program under test.
    Client,
    /// This listener.
    Server,
}

/// Bytes that passed in one piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passed {
    /// Which connection, counted from 1.
    pub connection: usize,
    /// Who said them.
    pub by: Speaker,
    /// The bytes, inside TLS where there is any.
    pub bytes: Vec<u8>,
}

#[derive(Default)]
struct Seen {
    messages: Vec<Received>,
    passed: Vec<Passed>,
    connections: usize,
    open: HashMap<usize, TcpStream>,
    stopped: bool,
}

impl Seen {
    fn words(&self, connection: usize, by: Speaker) -> String {
        let bytes: Vec<u8> = self
            .passed
            .iter()
            .filter(|passed| passed.connection == connection && passed.by == by)
            .flat_map(|passed| passed.bytes.iter().copied())
            .collect();
        String::from_utf8_lossy(&bytes).into_owned()
    }

    fn said(&self, by: Speaker, text: &str) -> bool {
        (1..=self.connections).any(|connection| self.words(connection, by).contains(text))
    }
}

/// What the listener and its connections share.
pub(crate) struct Log {
    seen: Mutex<Seen>,
    changed: Condvar,
}

impl Log {
    fn seen(&self) -> MutexGuard<'_, Seen> {
        self.seen.lock().expect("no connection panics with the log held")
    }

    fn change<T>(&self, change: impl FnOnce(&mut Seen) -> T) -> T {
        let out = change(&mut self.seen());
        self.changed.notify_all();
        out
    }

    fn wait(&self, within: Duration, until: impl Fn(&Seen) -> bool) -> bool {
        let end = Instant::now() + within;
        let mut seen = self.seen();
        loop {
            if until(&seen) {
                return true;
            }
            let left = end.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return false;
            }
            seen = self.changed.wait_timeout(seen, left).expect("no connection panics with the log held").0;
        }
    }

    pub(crate) fn passed(&self, connection: usize, by: Speaker, bytes: &[u8]) {
        let bytes = bytes.to_vec();
        self.change(|seen| {
            seen.passed.push(Passed { connection, by, bytes });
        });
    }

    pub(crate) fn took(&self, message: Received) {
        self.change(|seen| seen.messages.push(message));
    }

    /// Waits out `pause`, or until the listener stops (then false).
    pub(crate) fn pause(&self, pause: Duration) -> bool {
        !self.wait(pause, |seen| seen.stopped)
    }
}

/// The mail server. It stops, and cuts what is open, when dropped.
pub struct Listener {
    /// Where it listens: loopback, a free port.
    pub addr: SocketAddr,
    log: Arc<Log>,
    door: Option<JoinHandle<()>>,
}

impl Listener {
    /// Starts a server that follows `script`.
    ///
    /// # Panics
    /// When loopback gives no port.
    pub fn start(script: Script) -> Listener {
        let socket = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("loopback has a free port");
        let addr = socket.local_addr().expect("a bound socket has an address");
        let log = Arc::new(Log { seen: Mutex::default(), changed: Condvar::new() });
        let door = std::thread::spawn({
            let log = Arc::clone(&log);
            move || receive(&socket, &log, &script)
        });
        Listener { addr, log, door: Some(door) }
    }

    /// The messages taken so far, in order.
    pub fn messages(&self) -> Vec<Received> {
        self.log.seen().messages.clone()
    }

    /// Those of them that came after the first `known`.
    pub fn messages_after(&self, known: usize) -> Vec<Received> {
        self.log.seen().messages.iter().skip(known).cloned().collect()
    }

    /// Every byte so far, in order.
    pub fn passed(&self) -> Vec<Passed> {
        self.log.seen().passed.clone()
    }

    /// What the client said on one connection (from 1), as text.
    pub fn heard(&self, connection: usize) -> String {
        self.log.seen().words(connection, Speaker::Client)
    }

    /// All that passed, to read: `1 C: EHLO …`, one line for each piece.
    pub fn conversation(&self) -> String {
        let line = |passed: &Passed| {
            let by = match passed.by {
                Speaker::Client => 'C',
                Speaker::Server => 'S',
            };
            format!("{} {by}: {}\n", passed.connection, passed.bytes.escape_ascii())
        };
        self.log.seen().passed.iter().map(line).collect()
    }

    /// How many connections were made so far.
    pub fn connections(&self) -> usize {
        self.log.seen().connections
    }

    /// Waits until `n` messages were taken; false when `within` passes first.
    #[must_use]
    pub fn wait_for(&self, n: usize, within: Duration) -> bool {
        self.log.wait(within, |seen| seen.messages.len() >= n)
    }

    /// Waits until the client has said `text` on some connection; false when
    /// `within` passes first. A text cut by the network still counts.
    #[must_use]
    pub fn wait_heard(&self, text: &str, within: Duration) -> bool {
        self.log.wait(within, |seen| seen.said(Speaker::Client, text))
    }

    /// Waits until the listener has said `text` on some connection and its
    /// bytes are on their way; false when `within` passes first.
    #[must_use]
    pub fn wait_said(&self, text: &str, within: Duration) -> bool {
        self.log.wait(within, |seen| seen.said(Speaker::Server, text))
    }

    /// The connections that are open, counted from 1.
    pub fn open(&self) -> Vec<usize> {
        self.log.seen().open.keys().copied().collect()
    }

    /// Waits until none of these connections is open; false when `within` passes first.
    #[must_use]
    pub fn wait_ended(&self, connections: &[usize], within: Duration) -> bool {
        self.log.wait(within, |seen| connections.iter().all(|one| !seen.open.contains_key(one)))
    }

    /// Waits until no connection is open; false when `within` passes first.
    #[must_use]
    pub fn wait_closed(&self, within: Duration) -> bool {
        self.log.wait(within, |seen| seen.open.is_empty())
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.log.change(|seen| {
            seen.stopped = true;
            for stream in seen.open.values() {
                // It may be closed already.
                let _ = stream.shutdown(Shutdown::Both);
            }
        });
        // Wakes the door, which then sees that it is to stop.
        let woken = TcpStream::connect(self.addr);
        if let (Ok(_), Some(door)) = (woken, self.door.take()) {
            let _ = door.join();
        }
    }
}

fn receive(socket: &TcpListener, log: &Arc<Log>, script: &Script) {
    for stream in socket.incoming() {
        let Ok(stream) = stream else { return };
        let Ok(kept) = stream.try_clone() else { return };
        let connection = log.change(|seen| {
            if seen.stopped {
                return None;
            }
            seen.connections += 1;
            seen.open.insert(seen.connections, kept);
            Some(seen.connections)
        });
        let Some(connection) = connection else { return };
        let log = Arc::clone(log);
        let script = script.for_connection(connection);
        std::thread::spawn(move || {
            // However it ends, the log has what passed.
            let _: io::Result<()> = session::serve(stream, connection, &log, &script);
            log.change(|seen| {
                if let Some(stream) = seen.open.remove(&connection) {
                    let _ = stream.shutdown(Shutdown::Both);
                }
            });
        });
    }
}
