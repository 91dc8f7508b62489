//! A USB test device that is a script of transfers: what must be sent, what comes, in packets cut
//! anywhere, and what it answers to control requests. Frames are those of the reference table that
//! `usbtmc.rs` is checked against. A script that is not followed to its end fails its test.

use super::*;
use crate::usbtmc::message_in;
use std::sync::{Arc, Mutex};

/// One transfer of the script.
#[derive(Debug)]
enum Transfer {
    /// This frame is sent.
    Sent(Vec<u8>),
    /// The device does not take what is sent.
    NotTaken,
    /// These bytes come.
    Comes(Vec<u8>),
    /// Nothing comes in time.
    Silence,
    /// The pipe is halted.
    Halt,
    /// This request is answered so.
    Asked(u8, u16, Vec<u8>),
    /// The halt is taken off.
    Unhalted,
    /// The plug is pulled.
    Unplugged,
}

use Transfer::{Asked, Comes, Halt, NotTaken, Sent, Silence, Unhalted, Unplugged};

#[derive(Clone)]
struct Script(Arc<Mutex<VecDeque<Transfer>>>);

impl Script {
    fn next(&self, doing: &str) -> Transfer {
        self.0.lock().unwrap().pop_front().unwrap_or_else(|| panic!("{doing} after the end"))
    }
}

impl Pipes for Script {
    fn send(&mut self, transfer: &[u8], _: Duration) -> Result<(), PipeFault> {
        match self.next("sending") {
            Sent(wanted) => assert_eq!(transfer, wanted),
            NotTaken => return Err(PipeFault::TimedOut),
            Unplugged => return Err(PipeFault::Gone(io::Error::from_raw_os_error(19))),
            other => panic!("sent {transfer:?}, the script has {other:?}"),
        }
        Ok(())
    }

    fn receive(&mut self, size: usize, _: Duration) -> Result<Vec<u8>, PipeFault> {
        match self.next("receiving") {
            Comes(bytes) => {
                assert!(bytes.len() <= size);
                Ok(bytes)
            }
            Silence => Err(PipeFault::TimedOut),
            Halt => Err(PipeFault::Halted),
            Unplugged => Err(PipeFault::Gone(io::Error::from_raw_os_error(19))),
            other => panic!("receiving, the script has {other:?}"),
        }
    }

    fn control(
        &mut self,
        _: Recipient,
        request: u8,
        value: u16,
        size: u16,
    ) -> Result<Vec<u8>, PipeFault> {
        match self.next("asking") {
            Asked(wanted, with, answer) => {
                assert_eq!((request, value), (wanted, with));
                assert!(answer.len() <= usize::from(size));
                Ok(answer)
            }
            Halt => Err(PipeFault::Halted),
            other => panic!("asked {request}, the script has {other:?}"),
        }
    }

    fn clear_halt(&mut self) -> Result<(), PipeFault> {
        assert!(matches!(self.next("clearing a halt"), Unhalted));
        Ok(())
    }
}

fn link(script: Vec<Transfer>) -> (UsbLink<Script>, Script) {
    let script = Script(Arc::new(Mutex::new(script.into())));
    (UsbLink::over(script.clone(), "usb:1234:5678"), script)
}

fn played(script: &Script) {
    let rest = script.0.lock().unwrap();
    assert!(rest.is_empty(), "not played: {rest:?}");
}

fn request(tag: u8) -> Transfer {
    Sent(request_in(tag, REQUEST_BYTES, None).to_vec())
}

const SOON: Duration = Duration::from_millis(1);

fn all(link: &mut dyn Link) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut buffer = [0; 7];
    while let Received::Bytes(count) = link.read_some(&mut buffer, SOON).unwrap() {
        bytes.extend_from_slice(&buffer[..count]);
        if bytes.ends_with(b"\n") {
            break;
        }
    }
    bytes
}

#[test]
fn a_query_is_one_message_one_request_and_one_answer() {
    let (mut link, script) = link(vec![
        Sent(message_out(1, b"*IDN?\n", true)),
        request(2),
        Comes(message_in(2, b"MAKER,MODEL,0,1.0\n", true)),
    ]);
    link.write(b"*IDN?\n", SOON).unwrap();
    assert_eq!(all(&mut link), b"MAKER,MODEL,0,1.0\n");
    assert_eq!(link.flow(), Flow::Messages);
    played(&script);
}

// F61: packets of any size, an answer in several frames, padding.
#[test]
fn an_answer_in_short_packets_and_several_frames_is_put_together() {
    for size in 1..40 {
        let mut script = vec![Sent(message_out(1, b"READ?\n", true)), request(2)];
        let mut first = message_in(2, b"+1.2345", false);
        first.push(0); // padded to a multiple of four
        script.extend(first.chunks(size).map(|packet| Comes(packet.to_vec())));
        script.push(request(3));
        let rest = message_in(3, b"67E+00\n", true);
        script.extend(rest.chunks(size).map(|packet| Comes(packet.to_vec())));
        if size == 1 || first.len() % size == 1 {
            continue; // then the padding is a packet of its own, which is not read any more
        }
        let (mut link, script) = link(script);
        link.write(b"READ?\n", SOON).unwrap();
        let mut answer = Vec::new();
        for _ in 0..100 {
            let mut buffer = [0; 64];
            if let Received::Bytes(count) = link.read_some(&mut buffer, SOON).unwrap() {
                answer.extend_from_slice(&buffer[..count]);
            }
            if answer.ends_with(b"\n") {
                break;
            }
        }
        assert_eq!(answer, b"+1.234567E+00\n", "packets of {size}");
        played(&script);
    }
}

#[test]
fn an_answer_that_takes_its_time_is_requested_once() {
    let (mut link, script) = link(vec![
        Sent(message_out(1, b"READ?\n", true)),
        request(2),
        Silence,
        Silence,
        Comes(message_in(2, b"+1\n", true)),
    ]);
    link.write(b"READ?\n", SOON).unwrap();
    for _ in 0..2 {
        assert_eq!(link.read_some(&mut [0; 8], SOON).unwrap(), Received::Nothing);
    }
    assert_eq!(all(&mut link), b"+1\n");
    played(&script);
}

// F10, F58: nobody waits any more; the late answer is given up before anything else is asked.
#[test]
fn an_answer_that_is_too_late_is_aborted_before_the_next_query() {
    let (mut link, script) = link(vec![
        Sent(message_out(1, b"READ?\n", true)),
        request(2),
        Silence,
        Asked(INITIATE_ABORT_BULK_IN, 2, vec![SUCCESS, 2]),
        Comes(message_in(2, b"+9.9E37\n", true)),
        Asked(CHECK_ABORT_BULK_IN_STATUS, 0, vec![PENDING, 0, 0, 0, 0, 0, 0, 0]),
        Silence,
        Asked(CHECK_ABORT_BULK_IN_STATUS, 0, vec![SUCCESS, 0, 0, 0, 20, 0, 0, 0]),
        Sent(message_out(3, b"*IDN?\n", true)),
        request(4),
        Comes(message_in(4, b"METER\n", true)),
    ]);
    link.write(b"READ?\n", SOON).unwrap();
    assert_eq!(link.read_some(&mut [0; 8], SOON).unwrap(), Received::Nothing);
    link.write(b"*IDN?\n", SOON).unwrap();
    assert_eq!(all(&mut link), b"METER\n");
    played(&script);
}

// F58: after one timeout everything times out, until the device is cleared.
#[test]
fn a_device_that_is_wedged_until_it_is_cleared_is_cleared() {
    let (mut link, script) = link(vec![
        Sent(message_out(1, b"READ?\n", true)),
        request(2),
        Silence,
        Halt, // it does not even abort
        Asked(INITIATE_CLEAR, 0, vec![SUCCESS]),
        Asked(CHECK_CLEAR_STATUS, 0, vec![PENDING, 1]),
        Comes(b"rest".to_vec()),
        Asked(CHECK_CLEAR_STATUS, 0, vec![SUCCESS, 0]),
        Unhalted,
        NotTaken,
        Asked(INITIATE_CLEAR, 0, vec![SUCCESS]),
        Asked(CHECK_CLEAR_STATUS, 0, vec![SUCCESS, 0]),
        Unhalted,
        Sent(message_out(4, b"*CLS\n", true)),
    ]);
    link.write(b"READ?\n", SOON).unwrap();
    assert_eq!(link.read_some(&mut [0; 8], SOON).unwrap(), Received::Nothing);
    let refused = link.write(b"*CLS\n", SOON).unwrap_err();
    assert!(matches!(refused, DriverError::NoAnswer { .. }), "{refused:?}");
    link.write(b"*CLS\n", SOON).unwrap();
    played(&script);
}

#[test]
fn a_frame_of_another_request_ends_the_link() {
    let (mut link, script) = link(vec![
        Sent(message_out(1, b"READ?\n", true)),
        request(2),
        Comes(message_in(9, b"+1\n", true)),
        Asked(INITIATE_CLEAR, 0, vec![SUCCESS]),
        Asked(CHECK_CLEAR_STATUS, 0, vec![SUCCESS, 0]),
        Unhalted,
    ]);
    link.write(b"READ?\n", SOON).unwrap();
    let error = link.read_some(&mut [0; 8], SOON).unwrap_err();
    assert!(error.to_string().contains("answer to request 9 instead of 2"), "{error}");
    played(&script);
}

#[test]
fn a_device_that_is_unplugged_is_gone() {
    let (mut first, _) = link(vec![Unplugged]);
    assert!(matches!(first.write(b"x\n", SOON), Err(DriverError::LinkLost { .. })));
    let (mut second, _) = link(vec![Sent(message_out(1, b"READ?\n", true)), request(2), Unplugged]);
    second.write(b"READ?\n", SOON).unwrap();
    let error = second.read_some(&mut [0; 8], SOON).unwrap_err();
    assert!(matches!(error, DriverError::LinkLost { .. }), "{error:?}");
}
