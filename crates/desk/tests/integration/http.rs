//! HTTP/1.1 by hand, so that a test says exactly what it sends.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

use serde_json::Value;

/// What came back.
pub(crate) struct Answer {
    pub(crate) status: u16,
    headers: Vec<(String, String)>,
    pub(crate) body: Vec<u8>,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        let mut own = self
            .headers
            .iter()
            .filter(|(n, _)| n.eq_ignore_ascii_case(name));
        own.next().map(|(_, value)| value.as_str())
    }

    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|e| panic!("{e}: {} {}", self.status, self.text()))
    }

    /// The document of an answer that is well.
    pub(crate) fn ok(&self) -> Value {
        assert_eq!(self.status, 200, "{}", self.text());
        self.json()
    }

    /// The code of one that is not.
    pub(crate) fn error(&self) -> String {
        let told = self.json();
        assert!(told["error"]["message"].is_string(), "{told}");
        told["error"]["code"].as_str().unwrap().to_owned()
    }
}

/// Asks, under the server's own host unless the headers give another.
pub(crate) fn ask(
    address: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: Option<&[u8]>,
) -> Answer {
    let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
    if !headers.iter().any(|(name, _)| *name == "Host") {
        head.push_str(&format!("Host: {address}\r\n"));
    }
    for (name, value) in headers {
        head.push_str(&format!("{name}: {value}\r\n"));
    }
    if let Some(body) = body {
        head.push_str(&format!("Content-Length: {}\r\n", body.len()));
    }
    head.push_str("\r\n");
    let mut sent = head.into_bytes();
    sent.extend_from_slice(body.unwrap_or_default());
    raw(address, &sent)
}

/// Sends these bytes, and reads what comes until the connection ends.
pub(crate) fn raw(address: SocketAddr, bytes: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(120)))
        .unwrap();
    // A server that refuses early may close before all is sent.
    drop(stream.write_all(bytes));
    let mut all = Vec::new();
    drop(stream.read_to_end(&mut all));
    parsed(&all)
}

/// An answer taken apart.
fn parsed(all: &[u8]) -> Answer {
    let end = all.windows(4).position(|w| w == b"\r\n\r\n");
    let end = end.unwrap_or_else(|| panic!("no answer: {}", String::from_utf8_lossy(all)));
    let head = String::from_utf8(all[..end].to_vec()).unwrap();
    let mut rows = head.split("\r\n");
    let status = rows.next().unwrap().split(' ').nth(1).unwrap();
    let headers: Vec<(String, String)> = rows
        .filter_map(|row| row.split_once(": "))
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .collect();
    let body = all[end + 4..].to_vec();
    let chunked = headers
        .iter()
        .any(|(n, v)| n.eq_ignore_ascii_case("transfer-encoding") && v == "chunked");
    Answer {
        status: status.parse().unwrap(),
        headers,
        body: match chunked {
            true => unchunked(&body),
            false => body,
        },
    }
}

fn unchunked(mut rest: &[u8]) -> Vec<u8> {
    let mut whole = Vec::new();
    while let Some(end) = rest.windows(2).position(|w| w == b"\r\n") {
        let size = std::str::from_utf8(&rest[..end]).unwrap();
        let size = usize::from_str_radix(size, 16).unwrap();
        if size == 0 {
            break;
        }
        whole.extend_from_slice(&rest[end + 2..end + 2 + size]);
        rest = &rest[end + 2 + size + 2..];
    }
    whole
}
