//! The listening server: where it can be asked, and its life from the first request to the end of the program.

use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use beside::Kept;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use serde_json::Value;
use tokio::sync::{Semaphore, broadcast};

use crate::disk::PlanFile;
use crate::guard::Guard;
use crate::routes::{Desk, routes};
use crate::watch::{Seen, watch};

/// The port that is tried first.
pub const PORT: u16 = 8427;
/// Connections that are open at once; who comes later waits.
const MOST_CONNECTIONS: usize = 64;
/// Longest time until the head of a request is whole.
const LONGEST_HEAD: Duration = Duration::from_secs(30);
/// Longest time that long work is given to stop at the end.
const LONGEST_END: Duration = Duration::from_secs(3);
/// How often it is asked whether to end.
const ASKS_EACH: Duration = Duration::from_millis(100);
/// What happens that is kept for a slow page; of more it is told that it missed some.
const EVENTS: usize = 256;
/// Random bytes of a token.
const TOKEN_BYTES: usize = 16;

/// Hears a recording with the detectors of a plan's text: path and text of the plan, the recording, its sensors as `listen --as` takes them,
/// and what is told the share that is done and says whether to go on. The document `events/1`, or why there is none and what would help.
pub type Listen = dyn Fn(
        &Path,
        &str,
        &Path,
        &[String],
        &(dyn Fn(f64) -> bool + Sync),
    ) -> Result<Value, (String, Option<String>)>
    + Send
    + Sync;

/// Where and for which plan.
pub struct Options {
    /// The plan.
    pub plan: PathBuf,
    /// The address; the loopback address without one.
    pub listen: Option<IpAddr>,
    /// The port; [`PORT`], or any that is free where that is taken, without one.
    pub port: Option<u16>,
    /// What hears recordings; without it none are heard.
    pub hears: Option<Arc<Listen>>,
}

/// Why there is no server.
#[derive(Debug, thiserror::Error)]
pub enum DeskError {
    /// The address or the port cannot be had.
    #[error("listen on {address}: {source}")]
    Listen {
        /// Which.
        address: SocketAddr,
        /// Why.
        source: io::Error,
    },
    /// The system gives no random bytes for a token.
    #[error("the system gives no random bytes for a token: {0}")]
    Token(getrandom::Error),
    /// The server ended.
    #[error("the server ended: {0}")]
    Serve(#[source] io::Error),
}

/// A server that listens and does not answer yet.
pub struct Bound {
    listener: TcpListener,
    address: SocketAddr,
    token: Option<String>,
    plan: PathBuf,
    hears: Option<Arc<Listen>>,
}

/// Takes the address, and makes a token where others than this machine can ask.
///
/// # Errors
/// [`DeskError::Listen`], [`DeskError::Token`].
pub fn bind(options: Options) -> Result<Bound, DeskError> {
    let ip = options.listen.unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    let open = |port| {
        let address = SocketAddr::new(ip, port);
        TcpListener::bind(address).map_err(|source| DeskError::Listen { address, source })
    };
    let listener = match options.port {
        Some(port) => open(port)?,
        None => open(PORT).or_else(|_| open(0))?,
    };
    let address = listener.local_addr().map_err(DeskError::Serve)?;
    let token = (!ip.is_loopback()).then(token).transpose()?;
    Ok(Bound {
        listener,
        address,
        token,
        plan: options.plan,
        hears: options.hears,
    })
}

fn token() -> Result<String, DeskError> {
    let mut bytes = [0; TOKEN_BYTES];
    getrandom::fill(&mut bytes).map_err(DeskError::Token)?;
    Ok(plan::hex(&bytes))
}

impl Bound {
    /// What a browser opens, with the token where one is wanted.
    #[must_use]
    pub fn url(&self) -> String {
        match &self.token {
            Some(token) => format!("http://{}/?token={token}", self.address),
            None => format!("http://{}/", self.address),
        }
    }

    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// Answers until `stop` says so.
    ///
    /// # Errors
    /// [`DeskError::Serve`].
    pub fn serve(self, stop: &dyn Fn() -> bool) -> Result<(), DeskError> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(DeskError::Serve)?;
        let served = runtime.block_on(self.answer(stop));
        // Work that is under way is not waited for: nothing is half written by it.
        runtime.shutdown_background();
        served.map_err(DeskError::Serve)
    }

    async fn answer(self, stop: &dyn Fn() -> bool) -> io::Result<()> {
        self.listener.set_nonblocking(true)?;
        let listener = tokio::net::TcpListener::from_std(self.listener)?;
        let plan = Arc::new(PlanFile::at(self.plan));
        let (happened, _) = broadcast::channel(EVENTS);
        let seen = Seen::of(&plan);
        let kept = Arc::new(Kept::default());
        let watched = watch(Arc::clone(&plan), Arc::clone(&kept), seen, happened.clone());
        tokio::spawn(watched);
        let guard = Arc::new(Guard::new(self.address, self.token));
        let desk = Arc::new(Desk::new(plan, kept, happened, self.hears));
        let router = routes(Arc::clone(&desk), guard);
        let connections = Arc::new(Semaphore::new(MOST_CONNECTIONS));
        let mut http = http1::Builder::new();
        http.timer(TokioTimer::new())
            .header_read_timeout(LONGEST_HEAD);
        while !stop() {
            let next = async {
                let room = Arc::clone(&connections).acquire_owned().await;
                (room, listener.accept().await)
            };
            let Ok((room, accepted)) = tokio::time::timeout(ASKS_EACH, next).await else {
                continue;
            };
            let stream = match accepted {
                Ok((stream, _)) => stream,
                Err(_) => {
                    // A connection that broke, or no more files: the next one may do.
                    tokio::time::sleep(ASKS_EACH).await;
                    continue;
                }
            };
            // What is small is told at once; a connection without that is only slower.
            drop(stream.set_nodelay(true));
            let service = TowerToHyperService::new(router.clone());
            let connection = http.serve_connection(TokioIo::new(stream), service);
            tokio::spawn(async move {
                let _room = room;
                // A page that was closed in the middle is no news.
                drop(connection.await);
            });
        }
        desk.jobs.end(LONGEST_END);
        Ok(())
    }
}
