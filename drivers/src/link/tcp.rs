//! A raw TCP socket (the SCPI-raw port of a network instrument, or a serial server). A read waits
//! in the system for as long as the socket was told to; one that must not wait, and each write, say
//! so themselves. Small packets go out at once, and a peer that died without a word is found by
//! keep-alive and by the time unacknowledged bytes may wait.

use super::waiting::{send_all, wait_for};
use super::{Link, Received, classify_read, lost};
use crate::error::DriverError;
use rustix::event::PollFlags;
use rustix::net::{RecvFlags, SendFlags, recv, send, sockopt};
use std::io;
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

/// How long one address may take to answer a connection.
const CONNECT_WITHIN: Duration = Duration::from_secs(3);
const KEEP_ALIVE_AFTER: Duration = Duration::from_secs(15);
const UNACKNOWLEDGED_AT_MOST_MS: u32 = 20_000;
/// The system counts a socket's own waiting in ticks: a shorter wait than this would become longer.
const TICKS: Duration = Duration::from_millis(10);

/// An open TCP connection to an instrument.
#[derive(Debug)]
pub struct TcpLink {
    stream: TcpStream,
    name: String,
    /// How long the socket itself waits in a read.
    waits: Option<Duration>,
}

impl TcpLink {
    /// Connects to `host` (a name or an address, IPv6 without brackets) at `port`.
    ///
    /// # Errors
    /// [`DriverError::Missing`] if the name is unknown, or nobody listens or answers there;
    /// [`DriverError::System`] for anything else.
    pub fn connect(host: &str, port: u16) -> Result<Self, DriverError> {
        let name = super::spec::host_and_port(host, port);
        let missing = |error| DriverError::Missing { port: name.clone(), source: Some(error) };
        let addresses = (host, port).to_socket_addrs().map_err(missing)?;
        let mut last = io::Error::from(io::ErrorKind::NotFound);
        for address in addresses {
            match TcpStream::connect_timeout(&address, CONNECT_WITHIN) {
                Ok(stream) => return Self::from_stream(stream, &name),
                Err(error) => last = error,
            }
        }
        Err(missing(last))
    }

    /// A link over a connection that is already there.
    ///
    /// # Errors
    /// [`DriverError::System`] if the socket refuses its options.
    pub fn from_stream(stream: TcpStream, name: &str) -> Result<Self, DriverError> {
        prepare(&stream).map_err(|source| DriverError::System {
            port: name.to_owned(),
            step: "preparing the connection".into(),
            source,
        })?;
        Ok(Self { stream, name: name.to_owned(), waits: None })
    }
}

fn prepare(stream: &TcpStream) -> io::Result<()> {
    stream.set_nodelay(true)?;
    stream.set_nonblocking(false)?;
    sockopt::set_socket_keepalive(stream, true)?;
    sockopt::set_tcp_keepidle(stream, KEEP_ALIVE_AFTER)?;
    sockopt::set_tcp_keepintvl(stream, Duration::from_secs(5))?;
    sockopt::set_tcp_user_timeout(stream, UNACKNOWLEDGED_AT_MOST_MS)?;
    Ok(())
}

impl Link for TcpLink {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        let flags = SendFlags::DONTWAIT | SendFlags::NOSIGNAL;
        let write = |stream: &&TcpStream, bytes: &[u8]| send(stream, bytes, flags);
        send_all(&self.name, &self.stream, bytes, within, write)
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        let waiting = if wait >= TICKS {
            self.wait_in_reads(wait).map_err(|error| self.gone("reading", error))?;
            RecvFlags::empty()
        } else {
            if !wait.is_zero() {
                let ready = wait_for(&self.stream, PollFlags::IN, wait);
                ready.map_err(|error| self.gone("reading", error))?;
            }
            RecvFlags::DONTWAIT
        };
        let read = recv(&self.stream, into, waiting);
        classify_read(&self.name, read.map(|(count, _)| count).map_err(io::Error::from))
    }

    fn clear_input(&mut self) -> Result<(), DriverError> {
        // What the kernel holds is read and dropped; a peer that never stops cannot hold us.
        let mut scrap = [0; 4096];
        for _ in 0..64 {
            if self.read_some(&mut scrap, Duration::ZERO)? == Received::Nothing {
                break;
            }
        }
        Ok(())
    }

    fn name(&self) -> &str {
        &self.name
    }

    fn drains(&self) -> bool {
        true
    }
}

impl TcpLink {
    /// Has the socket wait for so long in each read; most waits are alike.
    fn wait_in_reads(&mut self, wait: Duration) -> io::Result<()> {
        if self.waits != Some(wait) {
            self.stream.set_read_timeout(Some(wait))?;
            self.waits = Some(wait);
        }
        Ok(())
    }

    fn gone(&self, step: &str, error: io::Error) -> DriverError {
        lost(&self.name, step, Some(error))
    }
}
