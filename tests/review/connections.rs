//! Who else is on this computer: a started browser's arguments, half-sent questions, and many of them.

use std::collections::VecDeque;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::os::unix::fs::PermissionsExt;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::json;

use crate::sheets;
use crate::support::{Answer, PATIENCE, PROGRAM, Server, ask, rendered};

fn home() -> (tempfile::TempDir, std::path::PathBuf) {
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", 12, 3, false);
    let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
    (home, path)
}

/// What a browser is started with is good once, and then there is a cookie.
#[test]
fn the_pages_address_is_not_in_the_process_list() {
    let (home, path) = home();
    // A browser that only writes down what it was started with.
    let told = home.path().join("arguments");
    let browser = home.path().join("browser");
    let script = format!(
        "#!/bin/sh\necho \"$@\" > {0}.new && mv {0}.new {0}\n",
        told.display()
    );
    fs::write(&browser, script).unwrap();
    fs::set_permissions(&browser, fs::Permissions::from_mode(0o755)).unwrap();
    let mut opening = Command::new(PROGRAM);
    opening
        .arg("review")
        .arg(&path)
        .arg("--photos")
        .arg(rendered().join("tune"))
        .env("CUPTALLY_HOME", home.path())
        .env("BROWSER", &browser)
        .stdout(Stdio::piped())
        .stderr(Stdio::null());
    let mut child = opening.spawn().unwrap();
    let mut printed = String::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut printed).unwrap();
    let start = Instant::now();
    while !told.exists() && start.elapsed() < PATIENCE {
        std::thread::sleep(Duration::from_millis(20));
    }
    let opened = fs::read_to_string(&told).unwrap();
    let part = |address: &str, at: usize| address.trim().split('/').nth(at).unwrap().to_owned();
    let (host, token, once) = (part(&printed, 2), part(&printed, 3), part(&opened, 3));
    assert!(opened.starts_with(&format!("http://{host}/")), "{opened}");
    assert!(!opened.contains(&token), "{opened}");
    let get = |path: &str, cookie: Option<&str>| -> Answer {
        let mut headers = vec![("Host", host.as_str())];
        headers.extend(cookie.map(|cookie| ("Cookie", cookie)));
        ask(&host, "GET", path, &headers, b"")
    };
    let first = get(&format!("/{once}/"), None);
    assert_eq!(first.status, 303);
    let cookie = first.header("set-cookie").unwrap().to_owned();
    let page = first.header("location").unwrap().to_owned();
    for part in [
        "; HttpOnly",
        "; SameSite=Strict",
        &format!("; Path={page};"),
    ] {
        assert!(cookie.contains(part), "no '{part}' in {cookie}");
    }
    assert!(!cookie.contains(&token) && !page.contains(&token) && !page.contains(&once));
    // Whoever reads it afterwards has nothing.
    assert_eq!(get(&format!("/{once}/"), None).status, 404);
    assert_eq!(get(&page, None).status, 404);
    assert_eq!(get(&page, Some("cuptally=1")).status, 404);
    let pair = cookie.split(';').next().unwrap();
    assert!(get(&page, Some(pair)).ok().text().contains("<html"));
    get(&format!("{page}api/sheet/0"), Some(pair)).ok();
    // Writing by the cookie needs what writing needs in any case.
    let origin = format!("http://{host}");
    let write = |headers: &[(&str, &str)]| {
        let body = json!({ "version": "", "correction": { "what": "accept", "ids": [] } });
        let path = format!("{page}api/sheet/0/correct");
        ask(&host, "POST", &path, headers, body.to_string().as_bytes()).status
    };
    let (cookie, json) = (("Cookie", pair), ("Content-Type", "application/json"));
    assert_eq!(write(&[("Host", &host), cookie, json]), 403);
    let own = ("Origin", origin.as_str());
    assert_eq!(write(&[("Host", &host), cookie, json, own]), 409);
    child.kill().unwrap();
    child.wait().unwrap();
}

/// A connection on which part of a question was sent.
fn half(server: &Server, text: &str) -> TcpStream {
    let mut stream = TcpStream::connect(server.host()).unwrap();
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    // It may have been cut off already.
    let _ = stream.write_all(text.as_bytes());
    stream
}

/// Whether the server has not closed it.
fn is_open(stream: &TcpStream) -> bool {
    stream.set_nonblocking(true).unwrap();
    let looked = stream.peek(&mut [0]);
    stream.set_nonblocking(false).unwrap();
    looked.is_err_and(|error| error.kind() == std::io::ErrorKind::WouldBlock)
}

fn half_head(server: &Server) -> String {
    format!(
        "GET /{}/ HTTP/1.1\r\nHost: {}\r\n",
        server.token(),
        server.host()
    )
}

fn half_body(server: &Server) -> String {
    let (host, token) = (server.host(), server.token());
    format!(
        "POST /{token}/api/sheet/0/correct HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
         Content-Type: application/json\r\nContent-Length: 100\r\n\r\n{{\"version\":"
    )
}

#[test]
fn half_sent_questions_end() {
    let (home, path) = home();
    let server = Server::start(home.path(), &[&path]);
    let stranger = format!(
        "POST /nothing/ HTTP/1.1\r\nHost: {}\r\nContent-Length: 100\r\n\r\n",
        server.host()
    );
    let kinds = [
        (half_head(&server), ""),
        (half_body(&server), "408"),
        (stranger, "403"),
    ];
    let open: Vec<_> = kinds
        .iter()
        .map(|(text, status)| (half(&server, text), status))
        .collect();
    for (mut stream, status) in open {
        let mut answer = Vec::new();
        // Ends at all, rather than when we lose patience.
        stream.read_to_end(&mut answer).unwrap();
        let answer = String::from_utf8(answer).unwrap();
        assert!(answer.contains(*status), "no {status} in {answer}");
    }
}

#[test]
fn the_page_is_answered_under_1500_half_sent_questions() {
    let (home, path) = home();
    // With as many open files as a shell allows on some systems.
    let mut few = Command::new("sh");
    few.args(["-c", "ulimit -n 256 && exec \"$0\" \"$@\"", PROGRAM])
        .args(["review", "--no-open"])
        .arg(&path)
        .env("CUPTALLY_HOME", home.path());
    let server = Server::of(&mut few);
    let (head, body) = (half_head(&server), half_body(&server));
    // As many as this process may keep open; those that were cut off by then are let go.
    let mut open: VecDeque<TcpStream> = VecDeque::new();
    let id = sheets::read(&path).pieces[0].id;
    for at in 0..1500 {
        if open.len() == 600 {
            open.pop_front();
        }
        open.push_back(half(&server, if at % 2 == 0 { &head } else { &body }));
        if at == 299 {
            // Room is made by cutting off, before any of them has had its ten seconds.
            let left = || open.iter().filter(|stream| is_open(stream)).count();
            let start = Instant::now();
            while left() > 140 && start.elapsed() < Duration::from_secs(5) {
                std::thread::sleep(Duration::from_millis(20));
            }
            assert!(left() <= 140, "{} connections are left", left());
        }
        if at % 300 == 299 {
            server.get("").ok();
            server.get("api/sheet/0").ok();
        }
    }
    server
        .correct(json!({ "what": "accept", "ids": [id] }))
        .ok();
    server.get("photo/0/1/1600").ok();
    assert!(sheets::read(&path).pieces[0].looked_at);
    // And the newest of them are still listened to.
    let mut last = open.pop_back().unwrap();
    last.write_all(b" ").unwrap();
}
