//! The local web server of the desk: the plan and its consequences side by side.
//!
//! It answers with what the command line prints, asked of the text that a page sends: every figure comes from `assess`, `rehearsal` and
//! `report`, and none is made here. It listens on the loopback address unless told otherwise, and then wants a token.

mod consequences;
mod disk;
mod document;
mod drawing;
mod edit;
mod error;
mod folder;
mod guard;
mod jobs;
mod offsets;
mod openapi;
mod page;
mod pieces;
mod places;
mod quay;
mod recordings;
mod routes;
mod server;
mod session;
mod sheet;
mod stream;
mod text;
mod threshold;
mod watch;
mod worker;

pub use server::{Bound, DeskError, Listen, Options, PORT, bind};

/// What is told where the program was built without the page; `None` where it has it.
#[must_use]
pub fn no_page() -> Option<&'static str> {
    (!page::is_built()).then_some(page::NOT_BUILT)
}
