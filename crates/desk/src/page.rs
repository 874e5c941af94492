//! The built page, which the program carries with it.

use axum::body::Body;
use axum::http::{Response, StatusCode, header};

/// Every file of the page, by its path.
static FILES: &[(&str, &[u8])] = include!(concat!(env!("OUT_DIR"), "/page.rs"));

/// What is said in place of a page that was not built.
pub(crate) const NOT_BUILT: &str = "this program was built without its page: run `make page` (it needs Node) and build it again; `soundline check` and all other commands work without";

/// Whether the program carries the page.
pub(crate) fn is_built() -> bool {
    file("index.html").is_some()
}

fn file(name: &str) -> Option<&'static [u8]> {
    let at = FILES.binary_search_by(|(own, _)| own.cmp(&name)).ok()?;
    Some(FILES[at].1)
}

/// A file of the page; `/` is `index.html`.
pub(crate) fn serve(path: &str) -> Response<Body> {
    let name = match path.trim_start_matches('/') {
        "" => "index.html",
        other => other,
    };
    let Some(bytes) = file(name) else {
        let (status, text) = match name {
            "index.html" => (StatusCode::SERVICE_UNAVAILABLE, NOT_BUILT),
            _ => (StatusCode::NOT_FOUND, "there is no such page"),
        };
        return answer(
            status,
            "text/plain; charset=utf-8",
            text.as_bytes(),
            "no-store",
        );
    };
    // Names in this folder hold the digest of the content.
    let keeps = match name {
        "index.html" => "no-store",
        asset if asset.starts_with("assets/") => "public, max-age=31536000, immutable",
        _ => "no-cache",
    };
    answer(StatusCode::OK, kind(name), bytes, keeps)
}

/// Scripts, workers, styles, pictures and connections are the page's own, and nothing may frame it.
pub(crate) const CONTENT_SECURITY: &str = "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; worker-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";

fn answer(
    status: StatusCode,
    kind: &'static str,
    bytes: &'static [u8],
    keeps: &'static str,
) -> Response<Body> {
    Response::builder()
        .status(status)
        .header(header::CONTENT_TYPE, kind)
        .header(header::CACHE_CONTROL, keeps)
        .body(Body::from(bytes))
        .expect("these headers are well formed")
}

fn kind(name: &str) -> &'static str {
    match name.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js" | "mjs") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("json" | "map") => "application/json",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("ico") => "image/x-icon",
        Some("webmanifest") => "application/manifest+json",
        Some("txt") => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    }
}
