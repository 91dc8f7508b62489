//! Where a simulated meter is plugged in: the master of a pseudo-terminal, or a TCP listener with
//! at most one client. Both are read and written without blocking; dropping one unplugs it. A
//! pseudo-terminal is raw before its name is known, and one slave descriptor stays open, or the
//! master would see an error whenever no program is there.

use super::serve::ServeError;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fd::{AsFd, OwnedFd};
use rustix::fs::{Mode, OFlags};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::io::{self, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A port.
pub(crate) enum Port {
    Pty(Pty),
    Tcp(Tcp),
}

/// A pseudo-terminal.
pub(crate) struct Pty {
    master: OwnedFd,
    _slave: OwnedFd,
    path: PathBuf,
    name: Option<PathBuf>,
}

/// A listener and its client.
pub(crate) struct Tcp {
    listener: TcpListener,
    client: Option<TcpStream>,
}

impl Port {
    /// A new pseudo-terminal, with a symbolic link of this name.
    pub(crate) fn pty(name: Option<&Path>) -> Result<Self, ServeError> {
        let failed = |step| move |e: rustix::io::Errno| ServeError::new(step, e.into());
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).map_err(failed("opening a pseudo-terminal"))?;
        grantpt(&master).map_err(failed("granting the pseudo-terminal"))?;
        unlockpt(&master).map_err(failed("unlocking the pseudo-terminal"))?;
        let path = ptsname(&master, Vec::new()).map_err(failed("naming the pseudo-terminal"))?;
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let slave = rustix::fs::open(path.as_c_str(), flags, Mode::empty())
            .map_err(failed("opening the pseudo-terminal's other end"))?;
        let mut settings = tcgetattr(&slave).map_err(failed("reading the terminal settings"))?;
        settings.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &settings).map_err(failed("setting raw mode"))?;
        rustix::io::ioctl_fionbio(&master, true).map_err(failed("setting non-blocking mode"))?;
        let path = PathBuf::from(path.to_string_lossy().into_owned());
        if let Some(name) = name {
            point(name, &path).map_err(|e| ServeError::new("making the port's name", e))?;
        }
        let name = name.map(Path::to_path_buf);
        Ok(Self::Pty(Pty { master, _slave: slave, path, name }))
    }

    /// A listener.
    pub(crate) fn tcp(addr: SocketAddr) -> Result<Self, ServeError> {
        let failed = |e| ServeError::new("listening on TCP", e);
        let listener = TcpListener::bind(addr).map_err(failed)?;
        listener.set_nonblocking(true).map_err(failed)?;
        Ok(Self::Tcp(Tcp { listener, client: None }))
    }

    /// The path or address where a program finds it.
    pub(crate) fn place(&self) -> io::Result<Place> {
        match self {
            Self::Pty(pty) => Ok(Place::Path(pty.name.as_ref().unwrap_or(&pty.path).clone())),
            Self::Tcp(tcp) => tcp.listener.local_addr().map(Place::Addr),
        }
    }

    /// Waits until a program has sent something, or can take something, or `at_most` is over.
    pub(crate) fn wait(&self, to_send: bool, at_most: Duration) {
        let wanted = PollFlags::IN | if to_send { PollFlags::OUT } else { PollFlags::empty() };
        let fd = match self {
            Self::Pty(pty) => pty.master.as_fd(),
            Self::Tcp(Tcp { client: Some(client), .. }) => client.as_fd(),
            Self::Tcp(tcp) => tcp.listener.as_fd(),
        };
        let timeout = Timespec {
            tv_sec: i64::try_from(at_most.as_secs()).unwrap_or(i64::MAX),
            tv_nsec: i64::from(at_most.subsec_nanos()),
        };
        // An interrupted or failed wait is only a shorter one; the caller looks again anyway.
        let _ = poll(&mut [PollFd::from_borrowed_fd(fd, wanted)], Some(&timeout));
    }

    /// What a program has sent; empty if nothing.
    pub(crate) fn receive(&mut self) -> Vec<u8> {
        let mut buffer = [0; 1024];
        let count = match self {
            Self::Pty(pty) => rustix::io::read(&pty.master, &mut buffer).unwrap_or(0),
            Self::Tcp(tcp) => tcp.receive(&mut buffer),
        };
        buffer[..count].to_vec()
    }

    /// Sends from the front of `bytes` what fits; without a reader everything is lost.
    pub(crate) fn send(&mut self, bytes: &mut Vec<u8>) {
        match self {
            Self::Pty(pty) => {
                // A meter on a serial line does not wait for a reader: what does not fit is lost.
                let _ = rustix::io::write(&pty.master, bytes);
                bytes.clear();
            }
            Self::Tcp(Tcp { client: None, .. }) => bytes.clear(),
            Self::Tcp(Tcp { client: client @ Some(_), .. }) => {
                let written = client.as_mut().map_or(Ok(0), |c| c.write(bytes));
                match written {
                    Ok(count) => drop(bytes.drain(..count)),
                    Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
                    Err(_) => *client = None,
                }
            }
        }
    }
}

impl Tcp {
    fn receive(&mut self, buffer: &mut [u8]) -> usize {
        let Some(client) = &mut self.client else {
            if let Ok((client, _)) = self.listener.accept() {
                let ready = client.set_nonblocking(true).and_then(|()| client.set_nodelay(true));
                self.client = ready.is_ok().then_some(client);
            }
            return 0;
        };
        match client.read(buffer) {
            Ok(0) => self.client = None,
            Ok(count) => return count,
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => {}
            Err(_) => self.client = None,
        }
        0
    }
}

impl Drop for Pty {
    fn drop(&mut self) {
        if let Some(name) = &self.name {
            // It may be gone already; nothing depends on it.
            let _ = std::fs::remove_file(name);
        }
    }
}

/// Where a program finds a port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    Path(PathBuf),
    Addr(SocketAddr),
}

/// Points the symbolic link `name` at `path`; an older link of that name is replaced, anything
/// else is left alone.
fn point(name: &Path, path: &Path) -> io::Result<()> {
    if name.symlink_metadata().is_ok_and(|found| found.file_type().is_symlink()) {
        std::fs::remove_file(name)?;
    }
    std::os::unix::fs::symlink(path, name)
}
