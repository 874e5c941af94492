//! A broker on a loopback port of its own for one check, and a proxy before it that can stall.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Mosquitto (Debian's package), without persistence; it ends with this value.
pub(crate) struct Broker {
    program: PathBuf,
    child: Option<Child>,
    pub(crate) port: u16,
    folder: tempfile::TempDir,
}

impl Broker {
    /// Starts one; `None`, which is told, where it is not installed.
    pub(crate) fn start() -> Option<Broker> {
        Broker::with(|_| "allow_anonymous true\n".to_owned())
    }

    /// Starts one that knows one user, `bench` with the password `s3cret`, who may write but below `closed/`.
    pub(crate) fn with_a_login(closed: &str) -> Option<Broker> {
        Broker::with(|folder| {
            let path = |name: &str| folder.join(name).display().to_string();
            let made = Command::new("mosquitto_passwd")
                .args(["-b", "-c", &path("users"), "bench", "s3cret"])
                .output()
                .unwrap();
            assert!(made.status.success(), "{made:?}");
            let rights = format!("user bench\ntopic readwrite #\ntopic deny {closed}/#\n");
            std::fs::write(path("rights"), rights).unwrap();
            format!(
                "allow_anonymous false\npassword_file {}\nacl_file {}\n",
                path("users"),
                path("rights")
            )
        })
    }

    fn with(login: impl FnOnce(&Path) -> String) -> Option<Broker> {
        let program = [
            "/usr/sbin/mosquitto",
            "/usr/bin/mosquitto",
            "/usr/local/sbin/mosquitto",
        ]
        .into_iter()
        .map(Path::new)
        .find(|path| path.exists());
        let Some(program) = program else {
            // Straight to the stream: the test harness would swallow what a passing test prints.
            let told = b"\nSKIPPED: the live link against a broker (mosquitto is not installed)\n";
            std::io::stderr().write_all(told).unwrap();
            return None;
        };
        let free = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = free.local_addr().unwrap().port();
        drop(free);
        let folder = tempfile::tempdir().unwrap();
        let login = login(folder.path());
        let user = if is_root() { "user root\n" } else { "" };
        let text = format!(
            "{user}listener {port} 127.0.0.1\n{login}persistence false\nlog_dest none\nmax_queued_messages 100000\n"
        );
        std::fs::write(folder.path().join("broker.conf"), text).unwrap();
        let mut broker = Broker {
            program: program.to_owned(),
            child: None,
            port,
            folder,
        };
        broker.again();
        Some(broker)
    }

    /// Starts it on the same port.
    pub(crate) fn again(&mut self) {
        let child = Command::new(&self.program)
            .arg("-c")
            .arg(self.folder.path().join("broker.conf"))
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        self.child = Some(child);
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            assert!(
                begun.elapsed() < Duration::from_secs(10),
                "the broker does not start"
            );
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Ends it at once.
    pub(crate) fn kill(&mut self) {
        if let Some(mut child) = self.child.take() {
            drop(child.kill());
            drop(child.wait());
        }
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        self.kill();
    }
}

fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output();
    id.is_ok_and(|out| out.stdout.starts_with(b"0"))
}

/// A proxy that passes everything on, until it stalls.
pub(crate) struct Proxy {
    pub(crate) port: u16,
    stalled: Arc<AtomicBool>,
}

impl Proxy {
    pub(crate) fn before(broker: &Broker) -> Proxy {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (to, stalled) = (broker.port, Arc::new(AtomicBool::new(false)));
        let stop = Arc::clone(&stalled);
        std::thread::spawn(move || {
            for client in listener.incoming() {
                let (Ok(client), Ok(server)) = (client, TcpStream::connect(("127.0.0.1", to)))
                else {
                    return;
                };
                let (back, forth) = (client.try_clone().unwrap(), server.try_clone().unwrap());
                let stop_too = Arc::clone(&stop);
                std::thread::spawn({
                    let stop = Arc::clone(&stop);
                    move || pass(client, forth, &stop)
                });
                std::thread::spawn(move || pass(server, back, &stop_too));
            }
        });
        Proxy { port, stalled }
    }

    /// Passes nothing on from now on, or goes on with it.
    pub(crate) fn stall(&self, stalled: bool) {
        self.stalled.store(stalled, Ordering::SeqCst);
    }
}

fn pass(mut from: TcpStream, mut to: TcpStream, stalled: &AtomicBool) {
    let mut buffer = [0; 4096];
    while let Ok(count) = from.read(&mut buffer) {
        if count == 0 {
            break;
        }
        while stalled.load(Ordering::SeqCst) {
            std::thread::sleep(Duration::from_millis(5));
        }
        if to.write_all(&buffer[..count]).is_err() {
            break;
        }
    }
    drop(to.shutdown(Shutdown::Both));
}
