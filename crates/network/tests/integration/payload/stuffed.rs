//! CRC-16 and consistent overhead byte stuffing.

use network::{CobsError, cobs_decode, cobs_encode, crc16};
use proptest::prelude::*;

use super::{bytes, hex};

#[test]
fn val_checks_are_those_of_crccheck_and_of_the_catalogue() {
    assert_eq!(crc16(b"123456789"), 0x29B1);
    for row in truth::rows("network/crccheck-crc16.csv") {
        assert_eq!(
            format!("{:04x}", crc16(&bytes(&row[0]))),
            row[1],
            "{}",
            row[0]
        );
    }
}

#[test]
fn val_frames_are_those_of_the_paper_and_of_cobs() {
    for row in truth::rows("network/cobs-frames.csv") {
        let message = bytes(&row[0]);
        assert_eq!(hex(&cobs_encode(&message)), row[1]);
        assert_eq!(cobs_decode(&bytes(&row[1])), Ok(message));
    }
}

#[test]
fn verif_what_is_no_frame_is_refused() {
    assert_eq!(cobs_decode(&[]), Err(CobsError::Empty));
    for (frame, at_byte) in [(&[0, 1][..], 0), (&[2, 0], 1), (&[3, 7, 0], 2)] {
        assert_eq!(cobs_decode(frame), Err(CobsError::Zero { at_byte }));
    }
    assert_eq!(
        cobs_decode(&[1, 5, 7, 7]),
        Err(CobsError::CutShort {
            at_byte: 1,
            run: 4,
            left: 2
        })
    );
    let whole = cobs_encode(&[9; 600]);
    for cut in 1..whole.len() {
        let read = cobs_decode(&whole[..cut]);
        assert!(read.is_err() || cut % 255 == 0, "{cut}");
    }
}

proptest! {
    #[test]
    fn verif_a_message_survives_stuffing(message in prop::collection::vec(0u8..4, 0..600)) {
        let frame = cobs_encode(&message);
        prop_assert!(!frame.contains(&0));
        prop_assert!(frame.len() <= message.len() + 1 + message.len() / 254);
        prop_assert_eq!(cobs_decode(&frame), Ok(message));
    }

    #[test]
    fn verif_any_bytes_are_a_frame_or_an_error(frame in prop::collection::vec(any::<u8>(), 0..600)) {
        if let Ok(message) = cobs_decode(&frame) {
            let again = cobs_encode(&message);
            // A last run of 254 may be followed by an empty one or not.
            prop_assert!(again == frame || frame.strip_suffix(&[1]) == Some(&again));
        }
    }
}
