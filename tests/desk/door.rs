//! Phones on the home network, and strangers on it: in a network namespace with an address of its own.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Command;
use std::time::Duration;

use serde_json::json;

use crate::browser::{Browser, ENTER, Window};
use crate::home::{Desk, photo};
use crate::support::{Answer, ask};
use crate::{need_browser, outside};

const ADDRESS: &str = "192.168.77.1";
/// Set within the namespace.
const INSIDE: &str = "CUPTALLY_TEST_INSIDE";

/// Runs a test of this file once more in a network namespace with an address in a home network; whether this is that run.
fn inside(test: &str) -> bool {
    if std::env::var_os(INSIDE).is_some() {
        return true;
    }
    if !outside::need_tool("unshare", "util-linux") || !outside::need_tool("ip", "iproute2") {
        return false;
    }
    let script = format!(
        "ip link set lo up && ip addr add {ADDRESS}/24 dev lo && exec \"$0\" --exact door::{test} --include-ignored --nocapture"
    );
    let unshare = |args: &[&str]| {
        let mut command = Command::new("unshare");
        command.args(args).arg("--net");
        command
    };
    // Without rights of its own a user needs a namespace of users, too.
    let is_allowed = |args: &[&str]| {
        let tried = unshare(args).arg("true").output();
        tried.is_ok_and(|tried| tried.status.success())
    };
    let Some(args) = [&[][..], &["--user", "--map-root-user"]]
        .into_iter()
        .find(|args| is_allowed(args))
    else {
        // A right is nothing that a package brings: it is said, whatever is set.
        eprintln!("skipped: this test needs the right to make a network namespace");
        return false;
    };
    let itself = std::env::current_exe().unwrap();
    let status = unshare(args)
        .args(["sh", "-c", &script])
        .arg(itself)
        .env(INSIDE, "1")
        .status();
    assert!(status.unwrap().success());
    false
}

fn desk() -> Desk {
    Desk::of(
        tempfile::tempdir().unwrap(),
        &[&format!("--phone={ADDRESS}")],
    )
}

/// The door's host, and the code.
fn door(desk: &Desk) -> (String, String) {
    let address = desk.server.door.clone().unwrap();
    let parts: Vec<&str> = address.split('/').collect();
    (parts[2].to_owned(), parts[3].to_owned())
}

fn pair(host: &str, code: &str) -> Answer {
    let origin = format!("http://{host}");
    let headers = [
        ("Host", host),
        ("Origin", &origin),
        ("Content-Type", "application/json"),
    ];
    ask(host, "POST", &format!("/{code}/pair"), &headers, b"{}")
}

/// Pairs; gives the page's path and the cookie.
fn paired(host: &str, code: &str) -> (String, String) {
    let answer = pair(host, code).ok();
    let cookie = answer.header("set-cookie").unwrap().split(';').next();
    let page = answer.json()["page"].as_str().unwrap().to_owned();
    (page, cookie.unwrap().to_owned())
}

/// A phone pairs, brings a photo in, looks it over and posts it.
#[test]
fn a_phone_does_the_whole_job() {
    if !need_browser() || !inside("a_phone_does_the_whole_job") {
        return;
    }
    let desk = desk();
    let mut browser = Browser::open(Window::Phone, false);
    browser.go(desk.server.door.as_ref().unwrap());
    browser.wait("document.getElementById('pair') !== null");
    assert!(browser.text("main").contains("unencrypted"));
    browser.press("Pair this phone");
    browser.wait("document.body.dataset.ready !== undefined");
    assert!(
        browser.js(
            "document.getElementById('end').hidden && document.getElementById('phones').hidden"
        ) == json!(true)
    );
    let listed = desk.server.get("api/phones").ok().json();
    assert_eq!(listed["door"]["devices"].as_array().unwrap().len(), 1);
    assert_eq!(
        listed["door"]["address"],
        json!(null),
        "a code is good once"
    );
    browser.run("location.hash = 'photos'");
    browser.wait("document.body.dataset.room === 'photos'");
    // Bricks of one form: few doubts. A photo of 12 megapixels.
    let file = photo("plates-sorted-d65-12mp-78");
    browser.run("document.querySelector('input[placeholder=\"cup 1\"]').value = 'cup 9'");
    browser.files("#pick", &[file]);
    browser.wait("document.querySelector('.photo-row .primary') !== null");
    browser.press("Look it over");
    browser.wait("document.body.dataset.ready === '0'");
    browser.wait("document.getElementById('photo').dataset.ready !== undefined");
    browser.kept(|b| b.key(ENTER));
    // The rest as it is, pending: how a whole sheet is looked over is tested elsewhere.
    browser.click("#finish");
    browser.wait("document.querySelector('dialog[open]') !== null");
    browser.press("Leave it pending");
    browser.wait("document.querySelector('dialog[open]').innerText.includes('Posted to cup 9')");
    let state = desk.state();
    assert_eq!(state["places"], json!(["cup 9"]));
    assert_eq!(state["sheets"][0]["standing"]["is"], "pending");
    // Sent away, it gets nothing more.
    desk.server
        .post("api/send-away", &json!({ "number": 1 }))
        .ok();
    browser.go(desk.server.door.as_ref().unwrap());
    assert!(browser.js("document.getElementById('pair')") == json!(null));
}

/// What a stranger on the network tries: nothing of it is answered with more than 404.
#[test]
fn a_stranger_gets_nothing() {
    if !inside("a_stranger_gets_nothing") {
        return;
    }
    let desk = desk();
    let name = desk.bring("plates-sorted-d50-42");
    let (host, code) = door(&desk);
    let origin = format!("http://{host}");
    let own = [("Host", host.as_str())];
    let local = desk.server.token().to_owned();
    let local_host = desk.server.host().to_owned();
    let nothing = |answer: Answer, what: &str| {
        assert_eq!(answer.status, 404, "{what}: {}", answer.text());
        assert!(answer.body.is_empty(), "{what}: {}", answer.text());
    };
    // Before anything is paired: no code, this computer's own token, files and names.
    let paths = [
        "/",
        "/api/state/none",
        "/review/api/start",
        "/page/desk.js",
        "/../stock.json",
        "//",
        "/%2e%2e/",
    ];
    for path in paths {
        nothing(ask(&host, "GET", path, &own, b""), path);
        desk.server.post("api/new-code", &json!({})).ok();
    }
    let code_now = |desk: &Desk| -> String {
        let shown = desk.server.get("api/phones").ok().json();
        let address = shown["door"]["address"].as_str().unwrap().to_owned();
        address.split('/').nth(3).unwrap().to_owned()
    };
    nothing(
        ask(&host, "GET", &format!("/{code}/"), &own, b""),
        "a code that was replaced",
    );
    for path in [
        format!("/{local}/"),
        format!("/{local}/api/state/none"),
        format!("/{local}/photo/{name}/320"),
    ] {
        nothing(ask(&host, "GET", &path, &own, b""), "this computer's token");
    }
    // The page of this computer does not answer at the door's name, nor the door at that of this computer.
    let own_page = format!("/{local}/api/state/none");
    let answer = ask(&local_host, "GET", &own_page, &own, b"");
    assert_eq!(answer.status, 403);
    nothing(
        ask(&host, "GET", &own_page, &[("Host", &local_host)], b""),
        "this computer's name",
    );
    // The right code from another site, under another name, as a form, in another way.
    desk.server.post("api/new-code", &json!({})).ok();
    let code = code_now(&desk);
    let pair_path = format!("/{code}/pair");
    let json_type = ("Content-Type", "application/json");
    for (what, method, headers) in [
        (
            "another host",
            "POST",
            vec![("Host", "quay.example"), ("Origin", &origin), json_type],
        ),
        (
            "another origin",
            "POST",
            vec![own[0], ("Origin", "http://quay.example"), json_type],
        ),
        ("no origin", "POST", vec![own[0], json_type]),
        (
            "a form",
            "POST",
            vec![own[0], ("Origin", &origin), ("Content-Type", "text/plain")],
        ),
        (
            "another site",
            "POST",
            vec![
                own[0],
                ("Origin", &origin),
                json_type,
                ("Sec-Fetch-Site", "cross-site"),
            ],
        ),
        (
            "another verb",
            "PUT",
            vec![own[0], ("Origin", &origin), json_type],
        ),
        ("reading", "GET", vec![own[0]]),
        (
            "two hosts",
            "POST",
            vec![
                own[0],
                ("Host", "quay.example"),
                ("Origin", &origin),
                json_type,
            ],
        ),
    ] {
        nothing(ask(&host, method, &pair_path, &headers, b"{}"), what);
    }
    // The code is still good; it pairs once, and a replay does nothing.
    let (page, cookie) = paired(&host, &code);
    nothing(pair(&host, &code), "a replayed code");
    nothing(
        ask(&host, "GET", &format!("{page}api/state/none"), &own, b""),
        "the page without the cookie",
    );
    let stolen = format!("{}0", &cookie[..cookie.len() - 1]);
    if stolen != cookie {
        let headers = [own[0], ("Cookie", stolen.as_str())];
        nothing(
            ask(
                &host,
                "GET",
                &format!("{page}api/state/none"),
                &headers,
                b"",
            ),
            "a cookie that is nearly right",
        );
    }
    let with = [own[0], ("Cookie", cookie.as_str())];
    ask(&host, "GET", &format!("{page}api/state/none"), &with, b"").ok();
    // Even a paired device neither ends the desk nor lets others in, and leads nowhere else.
    let write = [
        own[0],
        ("Cookie", cookie.as_str()),
        ("Origin", &origin),
        json_type,
    ];
    for path in ["api/end", "api/new-code", "api/send-away"] {
        let answer = ask(
            &host,
            "POST",
            &format!("{page}{path}"),
            &write,
            b"{\"number\":1}",
        );
        assert_eq!(answer.status, 403, "{path}");
    }
    assert_eq!(
        ask(&host, "GET", &format!("{page}api/phones"), &with, b"").status,
        403
    );
    assert_ne!(
        ask(
            &host,
            "GET",
            &format!("{page}photo/..%2fstock.json/320"),
            &with,
            b""
        )
        .status,
        200
    );
    // The review's own end does not end the desk.
    ask(
        &host,
        "POST",
        &format!("{page}review/api/end"),
        &write,
        b"{}",
    )
    .ok();
    std::thread::sleep(Duration::from_millis(300));
    desk.state();
    // An upload that nobody announced, one without the cookie, and one that is too large by its own word.
    let bytes = [
        own[0],
        ("Origin", origin.as_str()),
        ("Content-Type", "application/octet-stream"),
    ];
    nothing(
        ask(
            &host,
            "POST",
            &format!("{page}photo-in/{name}"),
            &bytes,
            b"x",
        ),
        "an upload from a stranger",
    );
    let own_bytes = [&bytes[..], &[("Cookie", cookie.as_str())]].concat();
    assert_eq!(
        ask(
            &host,
            "POST",
            &format!("{page}photo-in/x.jpg"),
            &own_bytes,
            b"x"
        )
        .status,
        422
    );
}

/// Ten thousand guesses: the code locks after ten, and what is guessed then is not even looked at.
#[test]
fn guesses_lock_the_code() {
    if !inside("guesses_lock_the_code") {
        return;
    }
    let desk = desk();
    let (host, code) = door(&desk);
    for guess in 0..10_000 {
        let path = format!("/{:08}/", guess);
        let answer = ask(&host, "GET", &path, &[("Host", &host)], b"");
        assert_eq!((answer.status, answer.body.len()), (404, 0));
    }
    let shown = desk.server.get("api/phones").ok().json();
    assert_eq!(
        (&shown["door"]["locked"], &shown["door"]["address"]),
        (&json!(true), &json!(null))
    );
    assert_eq!(pair(&host, &code).status, 404);
    // A new code is made on this computer alone.
    let again = desk.server.post("api/new-code", &json!({})).ok().json();
    let address = again["door"]["address"].as_str().unwrap().to_owned();
    pair(&host, address.split('/').nth(3).unwrap()).ok();
}

/// A stranger who opens connections and says little keeps neither phone nor computer from being answered.
#[test]
fn slow_strangers_keep_nobody_waiting() {
    if !inside("slow_strangers_keep_nobody_waiting") {
        return;
    }
    let desk = desk();
    let (host, code) = door(&desk);
    let (page, cookie) = paired(&host, &code);
    let slow: Vec<TcpStream> = (0..300)
        .map(|_| {
            let mut stream = TcpStream::connect(&host).unwrap();
            // Cut off already, perhaps.
            let _ = write!(
                stream,
                "POST /x/photo-in/a.jpg HTTP/1.1\r\nHost: {host}\r\nContent-Le"
            );
            stream
        })
        .collect();
    let headers = [("Host", host.as_str()), ("Cookie", cookie.as_str())];
    ask(
        &host,
        "GET",
        &format!("{page}api/state/none"),
        &headers,
        b"",
    )
    .ok();
    desk.state();
    drop(slow);
    // Endless bytes from a stranger are not read.
    let mut stream = TcpStream::connect(&host).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(20)))
        .unwrap();
    write!(
        stream,
        "POST {page}photo-in/a.jpg HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/octet-stream\r\nContent-Length: 400000000\r\n\r\n"
    )
    .unwrap();
    let chunk = vec![0; 1 << 16];
    let mut sent = 0;
    while sent < 100_000_000 && stream.write_all(&chunk).is_ok() {
        sent += chunk.len();
    }
    assert!(sent < 100_000_000, "a stranger's upload was read");
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    assert!(!desk.path("photos").exists());
}
