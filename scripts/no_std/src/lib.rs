//! Holds `signal` and `detect` to living without the standard library. A program has one panic handler; the standard
//! library brings one, so this crate compiles only while nothing below it links the standard library.

#![no_std]

#[cfg(feature = "std")]
extern crate std;

use detect as _;
use signal as _;

#[panic_handler]
fn stop(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
