//! What the benches of chains share: how they end, a chain's links, and the most memory in use.

use std::error::Error;
use std::process::ExitCode;

use network::LinkSpec;
use timeline::Ns;

/// The exit of a bench that has kept its bounds, missed one, or failed.
pub(crate) fn ended(ran: Result<bool, Box<dyn Error>>) -> ExitCode {
    match ran {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => {
            println!("BOUND MISSED");
            ExitCode::FAILURE
        }
        Err(why) => {
            eprintln!("network bench: {why}");
            ExitCode::FAILURE
        }
    }
}

/// Links from each of so many nodes to the next.
pub(crate) fn links(nodes: usize, rate_bps: u64) -> Vec<LinkSpec> {
    let link = |node: usize| LinkSpec {
        a: node - 1,
        b: node,
        rate_bps,
        propagation: Ns(500),
        overhead_bytes: 86,
        min_payload_bytes: 0,
        bits_per_byte: 8,
        lead: Ns::ZERO,
    };
    (1..nodes).map(link).collect()
}

/// The most memory that was ever in use, KiB.
pub(crate) fn peak_kib() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    line.trim().strip_suffix("kB")?.trim().parse().ok()
}
