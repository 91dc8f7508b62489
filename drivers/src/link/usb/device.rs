//! The pipes of a real USB test device, through a userspace USB library. The device is found by
//! vendor, product and, if there are several, serial number; its interface of the test and
//! measurement class (USB class FEh, subclass 03h) is claimed for us alone, from the kernel's
//! driver too. Not shown by a test: it takes a device.

use super::{CONTROL_WITHIN, PipeFault, Pipes, Recipient, UsbLink};
use crate::error::DriverError;
use crate::link::spec::UsbName;
use nusb::descriptors::TransferType;
use nusb::transfer::{Buffer, Bulk, ControlIn, ControlType, Direction, In, Out, TransferError};
use nusb::{Device, Endpoint, ErrorKind, Interface, MaybeFuture};
use std::io;
use std::time::Duration;

const CLASS: u8 = 0xfe;
const SUBCLASS: u8 = 0x03;

struct DevicePipes {
    interface: Interface,
    bulk_out: Endpoint<Bulk, Out>,
    bulk_in: Endpoint<Bulk, In>,
}

/// Opens the device of this name.
pub(in crate::link) fn open(name: &UsbName) -> Result<UsbLink<impl Pipes + use<>>, DriverError> {
    let port = format!("usb:{name}");
    let pipes = pipes_of(name).map_err(|error| match error.kind() {
        ErrorKind::NotFound | ErrorKind::Disconnected => {
            DriverError::Missing { port: port.clone(), source: Some(error.into()) }
        }
        ErrorKind::Busy => DriverError::Busy { port: port.clone(), holder: None },
        ErrorKind::PermissionDenied => DriverError::Denied { port: port.clone(), group: None },
        _ => DriverError::System {
            port: port.clone(),
            step: "opening the USB device".into(),
            source: error.into(),
        },
    })?;
    let Some(pipes) = pipes else {
        return Err(DriverError::Missing { port, source: None });
    };
    Ok(UsbLink::over(pipes, &port))
}

fn pipes_of(name: &UsbName) -> Result<Option<DevicePipes>, nusb::Error> {
    let mut devices = nusb::list_devices().wait()?;
    let found = devices.find(|device| {
        let serial = name.serial.as_deref();
        device.vendor_id() == name.vendor
            && device.product_id() == name.product
            && serial.is_none_or(|wanted| device.serial_number() == Some(wanted))
    });
    let Some(found) = found else { return Ok(None) };
    let device = found.open().wait()?;
    let Some((number, bulk_out, bulk_in)) = interface_of(&device) else { return Ok(None) };
    let interface = device.detach_and_claim_interface(number).wait()?;
    Ok(Some(DevicePipes {
        bulk_out: interface.endpoint(bulk_out)?,
        bulk_in: interface.endpoint(bulk_in)?,
        interface,
    }))
}

/// Number of the interface of the class, and the addresses of its bulk pipes.
fn interface_of(device: &Device) -> Option<(u8, u8, u8)> {
    let configuration = device.active_configuration().ok()?;
    let mut settings = configuration.interface_alt_settings();
    let setting = settings.find(|s| (s.class(), s.subclass()) == (CLASS, SUBCLASS))?;
    let bulk = |direction| {
        setting
            .endpoints()
            .find(|end| end.transfer_type() == TransferType::Bulk && end.direction() == direction)
            .map(|end| end.address())
    };
    Some((setting.interface_number(), bulk(Direction::Out)?, bulk(Direction::In)?))
}

impl Pipes for DevicePipes {
    fn send(&mut self, transfer: &[u8], within: Duration) -> Result<(), PipeFault> {
        let done = self.bulk_out.transfer_blocking(transfer.to_vec().into(), within);
        done.status.map_err(fault)
    }

    fn receive(&mut self, size: usize, within: Duration) -> Result<Vec<u8>, PipeFault> {
        let size = size.next_multiple_of(self.bulk_in.max_packet_size().max(1));
        let done = self.bulk_in.transfer_blocking(Buffer::new(size), within);
        let received = done.buffer.get(..done.actual_len).unwrap_or_default().to_vec();
        match done.status {
            Err(error) if received.is_empty() => Err(fault(error)),
            _ => Ok(received),
        }
    }

    fn control(
        &mut self,
        to: Recipient,
        request: u8,
        value: u16,
        size: u16,
    ) -> Result<Vec<u8>, PipeFault> {
        let (recipient, index) = match to {
            Recipient::Interface => {
                (nusb::transfer::Recipient::Interface, self.interface.interface_number())
            }
            Recipient::BulkIn => {
                (nusb::transfer::Recipient::Endpoint, self.bulk_in.endpoint_address())
            }
        };
        let control_type = ControlType::Class;
        let (index, length) = (index.into(), size);
        let asked = ControlIn { control_type, recipient, request, value, index, length };
        self.interface.control_in(asked, CONTROL_WITHIN).wait().map_err(fault)
    }

    fn clear_halt(&mut self) -> Result<(), PipeFault> {
        let gone = |error: nusb::Error| PipeFault::Gone(error.into());
        self.bulk_out.clear_halt().wait().map_err(gone)?;
        self.bulk_in.clear_halt().wait().map_err(gone)
    }
}

fn fault(error: TransferError) -> PipeFault {
    match error {
        TransferError::Cancelled => PipeFault::TimedOut,
        TransferError::Stall => PipeFault::Halted,
        other => PipeFault::Gone(io::Error::other(other)),
    }
}
