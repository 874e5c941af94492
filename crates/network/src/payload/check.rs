//! CRC-16/CCITT-FALSE, the check of a message whose carrier has none.
//!
//! Polynomial 0x1021, begin 0xFFFF, nothing reflected, no final exclusive or; the catalogue of parametrised CRC algorithms lists it as CRC-16/IBM-3740, with
//! 0x29B1 for the text "123456789". It finds every burst of errors of up to 16 bits and lets one in 65 536 of random messages pass.

use crc::{CRC_16_IBM_3740, Crc};

const CCITT_FALSE: Crc<u16> = Crc::<u16>::new(&CRC_16_IBM_3740);

/// The check of these bytes.
#[must_use]
pub fn crc16(bytes: &[u8]) -> u16 {
    CCITT_FALSE.checksum(bytes)
}
