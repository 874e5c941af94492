//! Who may ask, and how much.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use serde_json::json;

use crate::bench_plan::Desk;
use crate::http::{ask, raw};

const JSON: (&str, &str) = ("Content-Type", "application/json");

/// A name that an attacker's server gives this machine's address (rebinding) is refused, whatever is asked.
#[test]
fn verif_a_foreign_host_is_refused() {
    let desk = Desk::open();
    let port = desk.address.port();
    for host in [
        "evil.example".to_owned(),
        format!("evil.example:{port}"),
        format!("127.0.0.1.evil.example:{port}"),
        "127.0.0.1".to_owned(),
        format!("127.0.0.1:{}", port.wrapping_add(1)),
        format!("192.168.7.7:{port}"),
    ] {
        for path in ["/", "/api/session", "/api/plan", "/api/events"] {
            let answer = ask(desk.address, "GET", path, &[("Host", &host)], None);
            assert_eq!(answer.status, 403, "{host} {path}");
            assert_eq!(answer.error(), "foreign-host");
        }
    }
    for host in [format!("localhost:{port}"), format!("127.0.0.1:{port}")] {
        let answer = ask(desk.address, "GET", "/api/plan", &[("Host", &host)], None);
        assert_eq!(answer.status, 200, "{host}");
    }
    // Two hosts, or none, are no host.
    let two = format!(
        "GET /api/plan HTTP/1.1\r\nConnection: close\r\nHost: {0}\r\nHost: {0}\r\n\r\n",
        desk.address
    );
    assert!(raw(desk.address, two.as_bytes()).status >= 400);
    let none = "GET /api/plan HTTP/1.1\r\nConnection: close\r\n\r\n";
    assert!(raw(desk.address, none.as_bytes()).status >= 400);
}

/// What changes or works is asked by the page itself: another site's page, or a form, is refused before its body is read.
#[test]
fn verif_another_site_is_refused() {
    let desk = Desk::open();
    let before = desk.text();
    let body = json!({ "text": "lost", "base_digest": "any" }).to_string();
    let own = format!("http://{}", desk.address);
    let port = desk.address.port();
    for origin in [
        "http://evil.example".to_owned(),
        "null".to_owned(),
        format!("https://127.0.0.1:{port}"),
        format!("http://127.0.0.1:{}", port.wrapping_add(1)),
        // Ours under another of its names: another origin for the browser.
        format!("http://localhost:{port}"),
    ] {
        let headers = [("Origin", origin.as_str()), JSON];
        let answer = ask(
            desk.address,
            "PUT",
            "/api/plan",
            &headers,
            Some(body.as_bytes()),
        );
        assert_eq!(
            (answer.status, answer.error().as_str()),
            (403, "foreign-origin"),
            "{origin}"
        );
    }
    let answer = ask(
        desk.address,
        "PUT",
        "/api/plan",
        &[JSON],
        Some(body.as_bytes()),
    );
    assert_eq!(answer.error(), "foreign-origin");
    // A browser that says so is believed, also where something is only shown.
    for site in ["cross-site", "same-site"] {
        let headers = [("Sec-Fetch-Site", site)];
        let answer = ask(desk.address, "GET", "/api/plan", &headers, None);
        assert_eq!(answer.error(), "foreign-origin", "{site}");
    }
    // A form cannot send JSON.
    let headers = [("Origin", own.as_str()), ("Content-Type", "text/plain")];
    let answer = ask(
        desk.address,
        "PUT",
        "/api/plan",
        &headers,
        Some(body.as_bytes()),
    );
    assert_eq!((answer.status, answer.error().as_str()), (415, "no-json"));
    assert_eq!(desk.text(), before);
}

/// On another address than the loopback one nothing is told without the token.
#[test]
fn verif_other_addresses_want_the_token() {
    let desk = Desk::listening(Some("0.0.0.0".parse().unwrap()));
    let token = desk.url.split("?token=").nth(1).unwrap().to_owned();
    assert_eq!(token.len(), 32);
    for path in [
        "/",
        "/api/session",
        "/?token=",
        "/?token=00000000000000000000000000000000",
    ] {
        assert_eq!(desk.get(path).status, 401, "{path}");
    }
    let headers = [("Authorization", "Bearer 0")];
    assert_eq!(
        ask(desk.address, "GET", "/api/plan", &headers, None).status,
        401
    );
    // Only of the page: a link to anything else takes no token.
    let other = desk.get(&format!("/api/plan?token={token}"));
    assert_eq!(other.status, 401);
    let first = desk.get(&format!("/?token={token}"));
    assert_eq!(first.status, 303);
    assert_eq!(first.header("Location"), Some("/"));
    let cookie = first.header("Set-Cookie").unwrap();
    assert!(
        cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"),
        "{cookie}"
    );
    let kept = cookie.split(';').next().unwrap();
    let headers = [("Cookie", kept)];
    assert_eq!(
        ask(desk.address, "GET", "/api/plan", &headers, None).status,
        200
    );
    let bearer = format!("Bearer {token}");
    let headers = [("Authorization", bearer.as_str())];
    assert_eq!(
        ask(desk.address, "GET", "/api/plan", &headers, None).status,
        200
    );
    // Names may be given to any address; addresses cannot.
    let host = format!("buoy.example:{}", desk.address.port());
    let headers = [("Cookie", kept), ("Host", host.as_str())];
    assert_eq!(
        ask(desk.address, "GET", "/api/plan", &headers, None).status,
        403
    );
    // Two servers never share a token.
    let second = Desk::listening(Some("0.0.0.0".parse().unwrap()));
    assert!(!second.url.ends_with(&token));
}

/// Loopback is what is listened on when nothing is said.
#[test]
fn verif_only_this_machine_can_ask_unless_told() {
    let desk = Desk::open();
    assert!(desk.address.ip().is_loopback());
    assert!(!desk.url.contains("token"));
}

/// Larger bodies are refused by what they say, and by what comes.
#[test]
fn verif_a_body_has_at_most_8_mib() {
    let desk = Desk::open();
    let head = format!(
        "POST /api/edit HTTP/1.1\r\nHost: {0}\r\nOrigin: http://{0}\r\nContent-Type: application/json\r\nConnection: close\r\n",
        desk.address
    );
    let said = format!("{head}Content-Length: {}\r\n\r\n", (8 << 20) + 1);
    let answer = raw(desk.address, said.as_bytes());
    assert_eq!((answer.status, answer.error().as_str()), (413, "too-large"));
    let mut chunks = format!("{head}Transfer-Encoding: chunked\r\n\r\n").into_bytes();
    for _ in 0..9 {
        chunks.extend_from_slice(b"100000\r\n");
        chunks.extend(std::iter::repeat_n(b' ', 1 << 20));
        chunks.extend_from_slice(b"\r\n");
    }
    chunks.extend_from_slice(b"0\r\n\r\n");
    let mut stream = TcpStream::connect(desk.address).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(30)))
        .unwrap();
    // It may refuse before all has come, and is then read while the rest is still sent.
    let mut reads = stream.try_clone().unwrap();
    let reader = std::thread::spawn(move || {
        let mut answer = Vec::new();
        drop(reads.read_to_end(&mut answer));
        String::from_utf8_lossy(&answer).into_owned()
    });
    drop(stream.write_all(&chunks));
    let answer = reader.join().unwrap();
    assert!(answer.starts_with("HTTP/1.1 413"), "{answer:?}");
    // And the server is still there.
    assert_eq!(desk.get("/api/plan").status, 200);
}

/// Every answer says that scripts, styles and connections are the page's own and that nothing frames it.
#[test]
fn verif_every_answer_says_what_a_browser_may_do() {
    let desk = Desk::open();
    let refused = ask(desk.address, "GET", "/", &[("Host", "evil.example")], None);
    let answers = [
        desk.get("/"),
        desk.get("/no-such-page"),
        desk.get("/api/session"),
        desk.get("/api/no-such-route"),
        desk.send("DELETE", "/api/plan", &json!({})),
        refused,
    ];
    for answer in &answers {
        let policy = answer.header("Content-Security-Policy").unwrap();
        assert!(
            policy.starts_with("default-src 'self'; script-src 'self'; style-src 'self'"),
            "{policy}"
        );
        assert!(policy.contains("frame-ancestors 'none'") && policy.contains("base-uri 'none'"));
        for exception in ["unsafe", "data:", "blob:", "nonce-", "*"] {
            assert!(!policy.contains(exception), "{policy}");
        }
        assert_eq!(answer.header("X-Content-Type-Options"), Some("nosniff"));
        assert_eq!(answer.header("Referrer-Policy"), Some("no-referrer"));
        assert_eq!(answer.header("X-Frame-Options"), Some("DENY"));
        assert_eq!(
            answer.header("Cross-Origin-Resource-Policy"),
            Some("same-origin")
        );
        // Nothing lets another site read an answer.
        assert_eq!(answer.header("Access-Control-Allow-Origin"), None);
    }
    assert_eq!(answers[2].header("Cache-Control"), Some("no-store"));
}

/// A text may include only what lies in the plan's folder, links followed.
#[cfg(unix)]
#[test]
fn verif_a_text_reads_nothing_outside_the_plans_folder() {
    let desk = Desk::open();
    let outside = tempfile::tempdir().unwrap();
    let secret = outside.path().join("secret.toml");
    std::fs::write(&secret, "[part.hush]\nkind = \"module\"\n").unwrap();
    std::os::unix::fs::symlink(&secret, desk.folder.path().join("linked.toml")).unwrap();
    for include in [
        "linked.toml".to_owned(),
        "../secret.toml".to_owned(),
        secret.display().to_string(),
        "/etc/passwd".to_owned(),
    ] {
        let text = desk
            .text()
            .replace("\"parts.toml\"", &format!("\"parts.toml\", \"{include}\""));
        assert_ne!(text, desk.text());
        let told = desk.consequences(&text, "quick");
        let mistakes = told["mistakes"].as_array().unwrap();
        let wrong: Vec<&str> = mistakes
            .iter()
            .map(|m| m["code"].as_str().unwrap())
            .collect();
        assert!(
            wrong.contains(&"unreadable") || wrong.contains(&"outside-folder"),
            "{include}: {wrong:?}"
        );
        let whole = told.to_string();
        assert!(
            !whole.contains("hush") && !whole.contains("root:"),
            "{include}"
        );
    }
}

/// Nor do the cue sheets and labels that a requirement names: a sheet outside is not read, and a link to what has no end is not waited for.
#[cfg(unix)]
#[test]
fn verif_what_a_requirement_names_lies_in_the_plans_folder() {
    let desk = Desk::open();
    let outside = tempfile::tempdir().unwrap();
    let secret = outside.path().join("secret.toml");
    std::fs::write(&secret, "hush = 1\n").unwrap();
    for target in [secret.as_path(), std::path::Path::new("/dev/zero")] {
        let link = desk.folder.path().join("linked.toml");
        std::os::unix::fs::symlink(target, &link).unwrap();
        let text = desk.text()
            + "\n[requirement.linked-sheet]\nthat = \"rehearsed\"\ncues = \"linked.toml\"\n"
            + "\n[requirement.linked-labels]\nthat = \"recall\"\nof = \"detector.upcall-upper\"\nlabels = \"linked.toml\"\nat_least = \"50 %\"\n";
        let told = desk.consequences(&text, "quick");
        let mistakes = told["mistakes"].as_array().unwrap();
        assert!(
            mistakes
                .iter()
                .all(|mistake| mistake["severity"] == "warning"),
            "{mistakes:?}"
        );
        let whole = told.to_string();
        assert!(!whole.contains("hush"), "{}", target.display());
        assert!(
            whole.contains("out of the plan's folder"),
            "{}",
            target.display()
        );
        for id in ["linked-sheet", "linked-labels"] {
            let judged = told["verdicts"]["requirements"].as_array().unwrap();
            let judged = judged.iter().find(|j| j["id"] == id).unwrap();
            assert_eq!(judged["ruling"], "unknown", "{id}");
        }
        std::fs::remove_file(&link).unwrap();
    }
}
