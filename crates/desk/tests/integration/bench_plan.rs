//! A server with a copy of the first example of its own.

use std::fs;
use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::http::{Answer, ask};

/// The first example.
pub(crate) const EXAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../plans/harrow-sound");

/// Ends with the test.
pub(crate) struct Desk {
    pub(crate) folder: TempDir,
    pub(crate) address: SocketAddr,
    pub(crate) url: String,
    stop: Arc<AtomicBool>,
    server: Option<JoinHandle<()>>,
}

impl Desk {
    pub(crate) fn open() -> Desk {
        Desk::listening(None)
    }

    pub(crate) fn listening(listen: Option<IpAddr>) -> Desk {
        Desk::of(Path::new(EXAMPLE), listen)
    }

    /// With something that hears recordings.
    pub(crate) fn hearing(hears: Arc<desk::Listen>) -> Desk {
        Desk::with(Path::new(EXAMPLE), None, Some(hears))
    }

    /// With a copy of another example.
    pub(crate) fn of(example: &Path, listen: Option<IpAddr>) -> Desk {
        Desk::with(example, listen, None)
    }

    fn with(example: &Path, listen: Option<IpAddr>, hears: Option<Arc<desk::Listen>>) -> Desk {
        let folder = tempfile::tempdir().unwrap();
        copy(example, folder.path());
        let options = desk::Options {
            plan: folder.path().join("plan.toml"),
            listen,
            port: Some(0),
            hears,
        };
        let bound = desk::bind(options).unwrap();
        let (address, url) = (bound.address(), bound.url());
        let stop = Arc::new(AtomicBool::new(false));
        let asked = Arc::clone(&stop);
        let server = thread::spawn(move || {
            bound.serve(&|| asked.load(Ordering::Relaxed)).unwrap();
        });
        // Where it listens on all addresses it is asked by the loopback one.
        let address = match address.ip().is_unspecified() {
            true => SocketAddr::new("127.0.0.1".parse().unwrap(), address.port()),
            false => address,
        };
        Desk {
            folder,
            address,
            url,
            stop,
            server: Some(server),
        }
    }

    pub(crate) fn plan(&self) -> PathBuf {
        self.folder.path().join("plan.toml")
    }

    pub(crate) fn text(&self) -> String {
        fs::read_to_string(self.plan()).unwrap()
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        ask(self.address, "GET", path, &[], None)
    }

    /// As the page asks: JSON, with its own origin.
    pub(crate) fn send(&self, method: &str, path: &str, body: &Value) -> Answer {
        let origin = format!("http://{}", self.address);
        let headers = [
            ("Origin", origin.as_str()),
            ("Content-Type", "application/json"),
        ];
        let body = body.to_string();
        ask(self.address, method, path, &headers, Some(body.as_bytes()))
    }

    pub(crate) fn post(&self, path: &str, body: &Value) -> Answer {
        self.send("POST", path, body)
    }

    pub(crate) fn consequences(&self, text: &str, tier: &str) -> Value {
        let asked = json!({ "text": text, "tier": tier, "serial": 1 });
        self.post("/api/consequences", &asked).ok()
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let server = self.server.take().unwrap();
        // A test that fails already need not fail twice.
        drop(server.join());
    }
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let own = to.join(path.file_name().unwrap());
        match path.is_dir() {
            // Evidence of the example is none of a test.
            true if path.extension().is_some_and(|e| e == "evidence") => {}
            true => copy(&path, &own),
            false => drop(fs::copy(&path, &own).unwrap()),
        }
    }
}
