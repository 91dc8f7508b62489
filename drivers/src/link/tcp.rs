//! A raw TCP socket (the SCPI-raw port of a network instrument, or a serial server). The socket
//! never blocks: waiting is done by polling. Small packets go out at once, and a peer that died
//! without a word is found by keep-alive and by the time unacknowledged bytes may wait.

use super::{Link, Received, classify_read, fd, lost, not_taken};
use crate::error::DriverError;
use rustix::net::sockopt;
use std::io::{self, Read};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

/// How long one address may take to answer a connection.
const CONNECT_WITHIN: Duration = Duration::from_secs(3);
const KEEP_ALIVE_AFTER: Duration = Duration::from_secs(15);
const UNACKNOWLEDGED_AT_MOST_MS: u32 = 20_000;

/// An open TCP connection to an instrument.
#[derive(Debug)]
pub struct TcpLink {
    stream: TcpStream,
    name: String,
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
        Ok(Self { stream, name: name.to_owned() })
    }
}

fn prepare(stream: &TcpStream) -> io::Result<()> {
    stream.set_nodelay(true)?;
    stream.set_nonblocking(true)?;
    sockopt::set_socket_keepalive(stream, true)?;
    sockopt::set_tcp_keepidle(stream, KEEP_ALIVE_AFTER)?;
    sockopt::set_tcp_keepintvl(stream, Duration::from_secs(5))?;
    sockopt::set_tcp_user_timeout(stream, UNACKNOWLEDGED_AT_MOST_MS)?;
    Ok(())
}

impl Link for TcpLink {
    fn write(&mut self, bytes: &[u8], within: Duration) -> Result<(), DriverError> {
        match fd::write_all(&mut self.stream, bytes, within) {
            Ok(true) => Ok(()),
            Ok(false) => Err(not_taken(&self.name, bytes, within)),
            Err(error) => Err(lost(&self.name, "sending", Some(error))),
        }
    }

    fn read_some(&mut self, into: &mut [u8], wait: Duration) -> Result<Received, DriverError> {
        match fd::wait_readable(&self.stream, wait) {
            Ok(true) => classify_read(&self.name, self.stream.read(into)),
            Ok(false) => Ok(Received::Nothing),
            Err(error) => Err(lost(&self.name, "reading", Some(error))),
        }
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
}
