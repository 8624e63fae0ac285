//! Nobody but the page itself reads or writes: DNS rebinding, other sites, other users.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream, UdpSocket};
use std::time::Duration;

use serde_json::json;

use crate::browser::{Browser, Window};
use crate::need_browser;
use crate::sheets;
use crate::support::{Server, ask};

struct Set {
    server: Server,
    path: std::path::PathBuf,
    _home: tempfile::TempDir,
}

fn set() -> Set {
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", 12, 2, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    Set {
        server: Server::start(home.path(), &[&path]),
        path,
        _home: home,
    }
}

/// One path of each kind that the page reads.
const PATHS: [&str; 6] = [
    "",
    "api/start",
    "api/sheet/0",
    "photo/0/1/1600",
    "upright/0/1/000000000000",
    "page/main.js",
];

/// A site whose name now means 127.0.0.1: the browser sends that name as host.
#[test]
fn a_rebound_name_reads_nothing() {
    let set = set();
    let host = set.server.host();
    let port = host.rsplit(':').next().unwrap();
    let page = format!("/{}/", set.server.token());
    let rebound = format!("rebound.example:{port}");
    for path in PATHS {
        let answer = ask(
            host,
            "GET",
            &format!("{page}{path}"),
            &[("Host", &rebound)],
            b"",
        );
        answer.refused(403, "only at the address");
    }
    let origin = format!("http://{rebound}");
    let headers = [
        ("Host", rebound.as_str()),
        ("Origin", &origin),
        ("Content-Type", "application/json"),
    ];
    let undo = format!("{page}api/sheet/0/undo");
    ask(host, "POST", &undo, &headers, b"{}").refused(403, "only at the address");
    // Even with our own origin, as no browser would send it.
    let own = format!("http://{host}");
    let headers = [("Host", rebound.as_str()), ("Origin", &own)];
    ask(host, "POST", &undo, &headers, b"{}").refused(403, "only at the address");
}

#[test]
fn other_sites_neither_read_nor_write() {
    let set = set();
    let host = set.server.host();
    let before = std::fs::read(&set.path).unwrap();
    let page = format!("/{}/", set.server.token());
    let correct = format!("{page}api/sheet/0/correct");
    let version = set.server.shown()["version"].clone();
    let body =
        json!({ "version": version, "correction": { "what": "remove", "ids": [1] } }).to_string();
    let evil = ("Origin", "https://quay.example");
    let own_origin = format!("http://{host}");
    let own = ("Origin", own_origin.as_str());
    let json = ("Content-Type", "application/json");
    let host_header = ("Host", host);
    let tries: [&[(&str, &str)]; 6] = [
        &[host_header, evil, json],
        &[host_header, ("Origin", "null"), json],
        &[host_header, json],
        &[host_header, own, json, ("Sec-Fetch-Site", "cross-site")],
        &[host_header, own, json, ("Sec-Fetch-Site", "same-site")],
        &[host_header, own, json, ("Sec-Fetch-Site", "none")],
    ];
    for headers in tries {
        ask(host, "POST", &correct, headers, body.as_bytes()).refused(403, "other sites");
    }
    for form in ["text/plain", "application/x-www-form-urlencoded"] {
        let headers = [host_header, own, ("Content-Type", form)];
        ask(host, "POST", &correct, &headers, body.as_bytes()).refused(415, "only the page");
    }
    for path in ["photo/0/1/1600", "crop/0/1/0/0/50/50", "api/sheet/0", ""] {
        let headers = [host_header, ("Sec-Fetch-Site", "cross-site")];
        ask(host, "GET", &format!("{page}{path}"), &headers, b"").refused(403, "other sites");
    }
    // A permission that a browser asks for first is not given.
    let headers = [host_header, evil, ("Access-Control-Request-Method", "POST")];
    let answer = ask(host, "OPTIONS", &correct, &headers, b"");
    assert_eq!(answer.status, 403);
    assert_eq!(answer.header("access-control-allow-origin"), None);
    assert_eq!(std::fs::read(&set.path).unwrap(), before);
}

#[test]
fn the_token_is_needed_for_everything() {
    let set = set();
    let host = set.server.host();
    let token = set.server.token();
    assert!(token.len() >= 32);
    let wrong = token.replace(|c: char| c.is_ascii_digit(), "a");
    for start in [
        "/",
        "//",
        "/x/",
        &format!("/{wrong}/"),
        &format!("/{}/", &token[1..]),
    ] {
        for path in PATHS {
            let answer = ask(
                host,
                "GET",
                &format!("{start}{path}"),
                &[("Host", host)],
                b"",
            );
            assert_eq!(answer.status, 404, "{start}{path}");
            assert!(!answer.text().contains("plates-sorted"));
        }
    }
    // Each start has its own.
    assert_ne!(self::set().server.token(), token);
}

/// Only the named sheets' photos, only the page's own files.
#[test]
fn no_other_file_is_served() {
    let set = set();
    let get = |path: &str| set.server.get(path);
    assert_eq!(
        get("photo/0/1/1600").ok().header("content-type"),
        Some("image/jpeg")
    );
    for path in [
        "photo/1/1/1600",
        "photo/0/1/1601",
        "photo/0/1/../../etc/passwd",
        "photo/-1/1/1600",
        "page/../main.rs",
        "page/..%2f..%2fCargo.toml",
        "page/%2e%2e/server.rs",
        "api/sheet/7",
        "stock.json",
    ] {
        let answer = get(path);
        assert!(
            [400, 404, 422].contains(&answer.status),
            "{path}: {}",
            answer.status
        );
        assert!(answer.body.len() < 300, "{path}");
    }
}

/// A sheet cannot make its neighbour's photo, or any other file, be shown.
#[test]
fn a_photo_of_another_hash_is_not_shown() {
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", 12, 2, false);
    sheet.photos.first.hash = "0".repeat(64);
    sheet.photos.first.path = Some(
        sheets::photo_of("tiles-sorted-led-b3-55")
            .display()
            .to_string(),
    );
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    for path in ["photo/0/1/1600", "crop/0/1/0/0/40/40"] {
        server.get(path).refused(422, "is not the photo that");
    }
}

#[test]
fn every_answer_forbids_what_the_page_does_not_need() {
    let set = set();
    let policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
    for path in [
        "",
        "page/main.js",
        "api/sheet/0",
        "photo/0/1/1600",
        "nothing",
    ] {
        let answer = set.server.get(path);
        for (name, value) in [
            ("content-security-policy", policy),
            ("x-content-type-options", "nosniff"),
            ("x-frame-options", "DENY"),
            ("referrer-policy", "no-referrer"),
            ("cross-origin-resource-policy", "same-origin"),
        ] {
            assert_eq!(answer.header(name), Some(value), "{path}");
        }
        assert_eq!(answer.header("access-control-allow-origin"), None);
    }
}

#[test]
fn only_this_computer_can_reach_it() {
    let set = set();
    let port: u16 = set
        .server
        .host()
        .rsplit(':')
        .next()
        .unwrap()
        .parse()
        .unwrap();
    // Which address this computer has outwards; no packet is sent by this.
    let outward = UdpSocket::bind("0.0.0.0:0").and_then(|socket| {
        socket.connect("192.0.2.1:9")?;
        socket.local_addr()
    });
    let Ok(outward) = outward else { return };
    if outward.ip().is_loopback() {
        return;
    }
    let reached = TcpStream::connect_timeout(&(outward.ip(), port).into(), Duration::from_secs(2));
    assert!(reached.is_err(), "{} reaches the page", outward.ip());
}

/// Another site in the same browser, which even knows the address: its scripts, forms,
/// pictures and frames get nothing and change nothing.
#[test]
fn a_page_of_another_site_gets_nothing_in_a_real_browser() {
    if !need_browser() {
        return;
    }
    let set = set();
    let before = std::fs::read(&set.path).unwrap();
    let version = set.server.shown()["version"].clone();
    let body = json!({ "version": version, "correction": { "what": "remove", "ids": [1] } });
    let page = format!(
        "<!doctype html><title>other</title><iframe id=f src='{0}'></iframe><script>
        const base = '{0}';
        const body = JSON.stringify({body});
        const found = [];
        const tries = [
          fetch(base + 'api/sheet/0').then((r) => r.text()).then((t) => found.push('read ' + t.length), () => found.push('no')),
          fetch(base + 'api/sheet/0', {{ mode: 'no-cors' }}).then((r) => r.text()).then((t) => found.push(t ? 'read' : 'no'), () => found.push('no')),
          fetch(base + 'api/sheet/0/correct', {{ method: 'POST', body, headers: {{ 'content-type': 'application/json' }} }}).then(() => found.push('wrote'), () => found.push('no')),
          fetch(base + 'api/sheet/0/correct', {{ method: 'POST', mode: 'no-cors', body }}).then(() => found.push('no'), () => found.push('no')),
          new Promise((done) => {{ const i = new Image(); i.onload = () => {{ found.push('picture'); done(); }}; i.onerror = () => {{ found.push('no'); done(); }}; i.src = base + 'photo/0/1/1600'; }}),
          import(base + 'page/main.js').then(() => found.push('script'), () => found.push('no')),
        ];
        Promise.allSettled(tries).then(() => {{ document.title = found.join(); }});
        </script>",
        set.server.address
    );
    let other = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}/", other.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in other.incoming().flatten() {
            let mut stream = stream;
            let mut asked = [0; 2048];
            let _ = stream.read(&mut asked);
            let head = format!(
                "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nConnection: close\r\nContent-Length: {}\r\n\r\n",
                page.len()
            );
            let _ = stream.write_all(head.as_bytes());
            let _ = stream.write_all(page.as_bytes());
        }
    });
    let browser = Browser::open(Window::Desktop, false);
    browser.go(&address);
    browser.wait("document.title !== 'other'");
    assert_eq!(browser.js("document.title"), json!("no,no,no,no,no,no"));
    // The frame stayed empty: its content is an error page of another origin.
    assert_eq!(
        browser.js("document.getElementById('f').contentDocument"),
        json!(null)
    );
    assert_eq!(std::fs::read(&set.path).unwrap(), before);
}

/// The page asks nobody but its own server for anything.
#[test]
fn the_page_uses_no_network() {
    if !need_browser() {
        return;
    }
    let set = set();
    let browser = Browser::open(Window::Desktop, false);
    browser.review(&set.server.address);
    let elsewhere = browser.js("performance.getEntriesByType('resource').map((e) => e.name).filter((n) => !n.startsWith(location.origin))");
    assert_eq!(elsewhere, json!([]));
    let asked = browser.js("performance.getEntriesByType('resource').length");
    assert!(asked.as_u64().unwrap() > 10);
    // Nor could it: the policy stops it before a packet leaves.
    let tried = browser.later(
        "const done = arguments[arguments.length - 1];
         addEventListener('securitypolicyviolation', (e) => done(e.effectiveDirective), { once: true });
         fetch('http://quay.example/').catch(() => {});",
    );
    assert_eq!(tried, json!("connect-src"));
}
