//! Who may ask, and how much at once: host and origin, token, size and time of a request, work in hand, and what every answer says.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, Response, StatusCode, header};
use axum::middleware::Next;
use axum::response::IntoResponse;
use serde::de::DeserializeOwned;
use tokio::sync::Semaphore;

use crate::error::ApiError;
use crate::page::CONTENT_SECURITY;

/// Largest body of a request, bytes.
pub(crate) const LARGEST_BODY: usize = 8 << 20;
/// Longest time of a request, jobs apart.
pub(crate) const LONGEST_REQUEST: Duration = Duration::from_secs(60);
/// Requests that are worked on at once.
pub(crate) const MOST_REQUESTS: usize = 64;

/// What is asked of a request before it is looked at.
pub(crate) struct Guard {
    hosts: Hosts,
    token: Option<String>,
    cookie: String,
    requests: Arc<Semaphore>,
    longest: Duration,
}

/// Under which names the server may be asked.
struct Hosts {
    port: u16,
    /// Names and addresses, without a port.
    names: Vec<String>,
    /// Whether any address (never a name) will do, as the server listens on all of them.
    any_address: bool,
}

impl Hosts {
    /// `host` is what stands in the header: a name or an address, and the port.
    fn allow(&self, host: &str) -> bool {
        let (name, port) = match host.rsplit_once(':') {
            Some((name, port)) if !name.is_empty() && !port.contains(']') => (name, Some(port)),
            _ => (host, None),
        };
        // Without a port it is that of HTTP.
        let port = port.map_or(Ok(80), str::parse::<u16>);
        if port != Ok(self.port) {
            return false;
        }
        let bare = name
            .strip_prefix('[')
            .and_then(|n| n.strip_suffix(']'))
            .unwrap_or(name);
        let named = self.names.iter().any(|own| own.eq_ignore_ascii_case(bare));
        named || self.any_address && bare.parse::<IpAddr>().is_ok()
    }
}

impl Guard {
    pub(crate) fn new(listens: SocketAddr, token: Option<String>) -> Guard {
        Guard::with_limits(listens, token, LONGEST_REQUEST, MOST_REQUESTS)
    }

    fn with_limits(
        listens: SocketAddr,
        token: Option<String>,
        longest: Duration,
        most: usize,
    ) -> Guard {
        let own = ["localhost", "127.0.0.1", "::1"];
        let mut names: Vec<String> = own.iter().map(|n| (*n).to_owned()).collect();
        names.push(listens.ip().to_string());
        Guard {
            hosts: Hosts {
                port: listens.port(),
                names,
                any_address: listens.ip().is_unspecified(),
            },
            token,
            cookie: format!("soundline-desk-{}", listens.port()),
            requests: Arc::new(Semaphore::new(most)),
            longest,
        }
    }

    /// A name under which a browser was made to ask somebody else's server (rebinding) is refused, whatever it asks.
    fn host(&self, headers: &HeaderMap) -> Result<String, ApiError> {
        let refused = || {
            ApiError::new(
                StatusCode::FORBIDDEN,
                "foreign-host",
                "this server is not asked under that name",
            )
            .help("use the address that `soundline desk` printed")
        };
        let mut all = headers.get_all(header::HOST).iter();
        let (Some(host), None) = (all.next(), all.next()) else {
            return Err(refused());
        };
        let host = host.to_str().map_err(|_| refused())?;
        match self.hosts.allow(host) {
            true => Ok(host.to_owned()),
            false => Err(refused()),
        }
    }

    /// What changes something, or works, is asked by the page itself; what only shows is not asked from another site.
    fn origin(method: &Method, host: &str, headers: &HeaderMap) -> Result<(), ApiError> {
        let refused = |what: &str| ApiError::new(StatusCode::FORBIDDEN, "foreign-origin", what);
        let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
        let shows = matches!(*method, Method::GET | Method::HEAD);
        if let Some(site) = site
            && site != b"same-origin"
            && !(shows && site == b"none")
        {
            return Err(refused("another site asks for this"));
        }
        let origin = headers.get(header::ORIGIN).map(HeaderValue::as_bytes);
        let own = format!("http://{host}");
        match origin {
            Some(origin) if origin == own.as_bytes() => Ok(()),
            None if shows => Ok(()),
            Some(_) => Err(refused("another site asks for this")),
            None => {
                Err(refused("what is no GET needs the header Origin")
                    .help(format!("Origin: {own}")))
            }
        }
    }

    /// The token as a cookie or in the header Authorization.
    fn token(&self, headers: &HeaderMap) -> bool {
        let Some(token) = &self.token else {
            return true;
        };
        let cookies = headers.get_all(header::COOKIE).iter();
        let cookies = cookies
            .filter_map(|c| c.to_str().ok())
            .flat_map(|c| c.split(';'));
        let own = cookies
            .filter_map(|c| c.trim().split_once('='))
            .filter(|(name, _)| *name == self.cookie);
        let bearer = headers.get(header::AUTHORIZATION);
        let bearer = bearer.and_then(|b| b.to_str().ok()?.strip_prefix("Bearer "));
        own.map(|(_, value)| value)
            .chain(bearer)
            .any(|given| same(given.as_bytes(), token.as_bytes()))
    }

    /// The first page carries the token in its address: it becomes a cookie, and the address loses it.
    fn first_page(&self, request: &Request) -> Option<Response<Body>> {
        let token = self.token.as_ref()?;
        let query = request.uri().query()?;
        let given = query.split('&').find_map(|q| q.strip_prefix("token="))?;
        let page = request.method() == Method::GET && request.uri().path() == "/";
        if !page || !same(given.as_bytes(), token.as_bytes()) {
            return None;
        }
        let cookie = format!("{}={token}; Path=/; HttpOnly; SameSite=Strict", self.cookie);
        let answer = Response::builder()
            .status(StatusCode::SEE_OTHER)
            .header(header::LOCATION, "/")
            .header(header::SET_COOKIE, cookie)
            .header(header::CACHE_CONTROL, "no-store")
            .body(Body::empty())
            .expect("a token is hexadecimal");
        Some(answer)
    }

    async fn answer(&self, request: Request, next: Next) -> Response<Body> {
        let host = match self.host(request.headers()) {
            Ok(host) => host,
            Err(error) => return error.into_response(),
        };
        if let Some(answer) = self.first_page(&request) {
            return answer;
        }
        if !self.token(request.headers()) {
            return ApiError::new(
                StatusCode::UNAUTHORIZED,
                "no-token",
                "this server wants its token",
            )
            .help("open the address that `soundline desk` printed, with its ?token=... (the page itself, as nothing else takes a token from its address); a program sends the header `Authorization: Bearer TOKEN`")
            .into_response();
        }
        if let Err(error) = Self::origin(request.method(), &host, request.headers()) {
            return error.into_response();
        }
        let Ok(_room) = self.requests.try_acquire() else {
            return ApiError::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "busy",
                format!("{MOST_REQUESTS} requests are being worked on"),
            )
            .help("ask again in a moment")
            .into_response();
        };
        match tokio::time::timeout(self.longest, next.run(request)).await {
            Ok(answer) => answer,
            Err(_) => ApiError::new(
                StatusCode::GATEWAY_TIMEOUT,
                "too-long",
                format!(
                    "this took more than {} s and was stopped",
                    self.longest.as_secs()
                ),
            )
            .help("long work is asked for as a job: POST /api/jobs")
            .into_response(),
        }
    }
}

/// Compared without telling by the time how far they agree.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |all, (x, y)| all | (x ^ y)) == 0
}

/// Every request goes through here, and every answer leaves with these headers.
pub(crate) async fn guarded(
    State(guard): State<Arc<Guard>>,
    request: Request,
    next: Next,
) -> Response<Body> {
    let api = request.uri().path().starts_with("/api/");
    let mut answer = guard.answer(request, next).await;
    let headers = answer.headers_mut();
    let mut say = |name: header::HeaderName, value: &'static str| {
        headers.insert(name, HeaderValue::from_static(value));
    };
    say(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    say(header::REFERRER_POLICY, "no-referrer");
    say(header::X_FRAME_OPTIONS, "DENY");
    say(header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY);
    say(
        header::HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    );
    say(
        header::HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    );
    if api && !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    answer
}

/// The body of a request.
pub(crate) async fn bytes(request: Request) -> Result<Bytes, ApiError> {
    let told = request.headers().get(header::CONTENT_LENGTH);
    let told = told.and_then(|l| l.to_str().ok()?.parse::<u64>().ok());
    let too_large = || {
        ApiError::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            "too-large",
            format!(
                "a request may have {} MiB, and this one has more",
                LARGEST_BODY >> 20
            ),
        )
    };
    if told.is_some_and(|told| told > LARGEST_BODY as u64) {
        return Err(too_large());
    }
    to_bytes(request.into_body(), LARGEST_BODY)
        .await
        .map_err(|_| too_large())
}

/// The body of a request as JSON of this shape. Another kind of content is refused, as a form of another site could send it.
pub(crate) async fn body<T: DeserializeOwned>(request: Request) -> Result<T, ApiError> {
    let kind = request.headers().get(header::CONTENT_TYPE);
    let kind = kind.and_then(|k| k.to_str().ok()).unwrap_or("");
    let json = kind.split(';').next().unwrap_or("").trim();
    if !json.eq_ignore_ascii_case("application/json") {
        return Err(ApiError::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "no-json",
            "the body must be application/json",
        ));
    }
    let bytes = bytes(request).await?;
    if bytes.trim_ascii_start().first() != Some(&b'{') {
        let said = "the body must be a JSON object: { \"key\": value, ... }";
        return Err(ApiError::bad("bad-body", said).help("GET /api/openapi.json tells its keys"));
    }
    serde_json::from_slice(&bytes)
        .map_err(|error| ApiError::bad("bad-body", format!("the body cannot be used: {error}")))
}

#[cfg(test)]
mod tests {
    use super::*;

    use axum::Router;
    use axum::routing::{get, post};
    use tower::ServiceExt;

    const OWN: &str = "127.0.0.1:8427";

    /// A server with these limits whose work never ends.
    fn slow(longest: Duration, most: usize) -> Router {
        let guard = Guard::with_limits(OWN.parse().unwrap(), None, longest, most);
        let endless = || std::future::pending::<()>();
        let read = |request: Request| async { bytes(request).await.map(|_| ()) };
        Router::new()
            .route("/api/endless", get(endless))
            .route("/api/read", post(read))
            .layer(axum::middleware::from_fn_with_state(
                Arc::new(guard),
                guarded,
            ))
    }

    fn request(method: &str, path: &str, body: Body) -> Request {
        Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, OWN)
            .header(header::ORIGIN, format!("http://{OWN}"))
            .body(body)
            .unwrap()
    }

    fn on_one_thread<T>(work: impl Future<Output = T>) -> T {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build();
        runtime.unwrap().block_on(work)
    }

    /// Work that does not end, and a body that does not come, are given up in time.
    #[test]
    fn verif_what_takes_too_long_is_given_up() {
        let server = slow(Duration::from_millis(20), 4);
        // A body of which the rest never comes.
        let (into, never) = crate::stream::pieces();
        into.try_send(Bytes::from_static(b"{")).unwrap();
        on_one_thread(async {
            let endless = request("GET", "/api/endless", Body::empty());
            let answer = server.clone().oneshot(endless).await.unwrap();
            assert_eq!(answer.status(), StatusCode::GATEWAY_TIMEOUT);
            let read = request("POST", "/api/read", never);
            let answer = server.oneshot(read).await.unwrap();
            assert_eq!(answer.status(), StatusCode::GATEWAY_TIMEOUT);
        });
        drop(into);
    }

    /// Beyond the most that is worked on at once nobody waits in vain: it is said, and room comes back.
    #[test]
    fn verif_requests_at_once_are_limited() {
        let server = slow(Duration::from_millis(50), 2);
        on_one_thread(async {
            let ask = || {
                let endless = request("GET", "/api/endless", Body::empty());
                server.clone().oneshot(endless)
            };
            let (a, b, c) = tokio::join!(ask(), ask(), ask());
            let mut all = [a, b, c].map(|answer| answer.unwrap().status().as_u16());
            all.sort_unstable();
            assert_eq!(all, [503, 504, 504]);
            assert_eq!(ask().await.unwrap().status(), StatusCode::GATEWAY_TIMEOUT);
        });
    }

    #[test]
    fn verif_hosts_are_own_names_with_the_own_port() {
        let own = Guard::new("127.0.0.1:8427".parse().unwrap(), None).hosts;
        for good in [
            "127.0.0.1:8427",
            "localhost:8427",
            "LOCALHOST:8427",
            "[::1]:8427",
        ] {
            assert!(own.allow(good), "{good}");
        }
        for bad in [
            "localhost",
            "localhost:80",
            "evil.example:8427",
            "localhost.evil.example:8427",
            "192.168.1.4:8427",
            "127.0.0.1:8427:8427",
            "",
            ":8427",
            "[::1]",
            "localhost:x",
        ] {
            assert!(!own.allow(bad), "{bad}");
        }
        let all = Guard::new("0.0.0.0:8427".parse().unwrap(), None).hosts;
        assert!(all.allow("192.168.1.4:8427"));
        assert!(!all.allow("buoy.example:8427"));
    }
}
