//! Ctrl-C, and where a system has it SIGTERM: long work is asked to stop, and takes away what it had half written.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether the user has asked to stop.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// From now on Ctrl-C is a question for long work to look at, and so is SIGTERM: who shuts a machine down leaves no half-written file either. Whoever presses Ctrl-C a second time does not wait for that: the
    /// program ends at once, and what was half written stays.
    ///
    /// # Errors
    /// The system refuses, or it is asked for twice.
    pub(crate) fn on_ctrl_c() -> Result<Cancel, ctrlc::Error> {
        let cancel = Cancel::default();
        #[cfg(unix)]
        signal_hook::flag::register(signal_hook::consts::SIGTERM, cancel.0.clone())
            .map_err(ctrlc::Error::System)?;
        let asked = cancel.clone();
        ctrlc::set_handler(move || {
            if asked.0.swap(true, Ordering::Relaxed) {
                std::process::exit(130);
            }
        })?;
        Ok(cancel)
    }

    /// Whether to stop.
    pub(crate) fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
