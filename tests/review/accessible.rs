//! axe-core (npm package `axe-core`, MPL-2.0, not shipped) finds nothing serious, and
//! everything can be hit and read.

use std::path::Path;

use crate::axe::{axe, findings};
use crate::browser::{Browser, ENTER, ESCAPE, WINDOWS, Window};
use crate::need_browser;
use crate::sheets;
use crate::support::Server;

#[test]
fn axe_core_finds_nothing_serious() {
    let Some(axe) = axe() else { return };
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 3, false);
    sheet.unexplained = vec![sheets::spot(1850.0, 1500.0)];
    let taught = [("eelgrass", 0.3), ("kelp", 0.1)];
    sheets::make_new(&mut sheet.pieces[0], "vivid yellow green", &taught);
    let path = sheets::write(home.path(), "quay", &sheet);
    for window in WINDOWS {
        for dark in [false, true] {
            let server = Server::start(home.path(), &[&path]);
            let mut browser = Browser::open(window, dark);
            browser.review(&server.address);
            browser.run(&axe);
            let check = |browser: &Browser, state: &str| {
                let found = findings(browser);
                assert!(found.is_empty(), "{window:?} {dark} {state}: {found:#?}");
            };
            assert!(browser.text(".card .why").contains("never taught"));
            check(&browser, "a colour that was never taught");
            browser.key(fantoccini::key::Key::Right);
            browser.wait("document.querySelector('.card .place').innerText.startsWith('2 of')");
            check(&browser, "a doubtful piece");
            browser.key(fantoccini::key::Key::Left);
            browser.wait("document.querySelector('.card .place').innerText.startsWith('1 of')");
            for (key, state) in [
                ('f', "form"),
                ('z', "size"),
                ('c', "colour"),
                ('g', "count"),
                ('p', "finish"),
                ('?', "keys"),
                ('m', "sheets"),
            ] {
                browser.key(key);
                browser.wait("document.querySelector('dialog[open]') !== null");
                check(&browser, state);
                browser.key(ESCAPE);
                browser.wait("document.querySelector('dialog[open]') === null");
            }
            browser.key('o');
            browser.wait("document.querySelector('.copies .copy') !== null");
            check(&browser, "a shape of one's own");
            browser.key(ESCAPE);
            browser.key('b');
            browser.wait("document.querySelectorAll('.crop').length > 0");
            check(&browser, "side by side");
            browser.click(".crop");
            check(&browser, "a crop chosen");
            while browser.js("document.getElementById('side-accept').hidden")
                == serde_json::json!(false)
            {
                browser.key(fantoccini::key::Key::PageDown);
            }
            check(&browser, "what side by side leaves");
            browser.key('b');
            browser.key('j');
            check(&browser, "join");
            browser.key(ESCAPE);
            browser.key('a');
            browser.key(ENTER);
            browser.wait("document.querySelector('.card h2').innerText === 'A new piece'");
            check(&browser, "placing");
            browser.key(ESCAPE);
            // The first is of a new colour: Enter would ask for its name.
            browser.kept(|b| b.key('1'));
            for _ in 0..2 {
                browser.kept(|b| b.key(ENTER));
            }
            check(&browser, "a place");
            browser.kept(|b| b.key(ENTER));
            check(&browser, "nothing left");
            for _ in 0..4 {
                browser.kept(|b| b.key('u'));
            }
        }
    }
}

/// Every control can be hit: 24 px by WCAG 2.2 (2.5.8) at a desk, 44 px by its stricter
/// rule (2.5.5) on a phone. Nothing sticks out of the window.
#[test]
fn controls_are_large_enough_and_nothing_sticks_out() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 3, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    for window in WINDOWS {
        let mut browser = Browser::open(window, false);
        browser.review(&server.address);
        let least = if window == Window::Phone { 44 } else { 24 };
        let small = browser.js(&format!(
            "[...document.querySelectorAll('button, select, input')].filter((b) => b.offsetParent && (b.offsetWidth < {least} || b.offsetHeight < {least})).map((b) => `${{b.innerText}} ${{b.offsetWidth}}x${{b.offsetHeight}}`)"
        ));
        assert_eq!(small, serde_json::json!([]), "{window:?}");
        let over = browser.js("document.documentElement.scrollWidth - innerWidth");
        assert!(over.as_i64().unwrap() <= 0, "{window:?}: {over} px");
        browser.key('b');
        browser.click(".crop");
        let small = browser.js(&format!(
            "[...document.querySelectorAll('button')].filter((b) => b.offsetParent && (b.offsetWidth < {least} || b.offsetHeight < {least})).map((b) => `${{b.innerText}} ${{b.offsetWidth}}x${{b.offsetHeight}}`)"
        ));
        assert_eq!(small, serde_json::json!([]), "{window:?} side by side");
        let over = browser.js("document.documentElement.scrollWidth - innerWidth");
        assert!(over.as_i64().unwrap() <= 0, "{window:?}: {over} px");
        assert_eq!(
            browser.js("innerWidth"),
            if window == Window::Phone { 390 } else { 1280 }
        );
        assert_eq!(
            browser.js("innerHeight"),
            if window == Window::Phone { 844 } else { 800 }
        );
    }
}

/// From the top of the page to any control with Tab alone, each with a visible ring.
#[test]
fn tab_reaches_every_control_and_shows_where_it_is() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", 5, 1, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    browser.run("document.activeElement.blur()");
    let mut reached = std::collections::BTreeSet::new();
    for _ in 0..60 {
        browser.key(fantoccini::key::Key::Tab);
        let at = browser.js("(() => { const e = document.activeElement; return [e.id || e.innerText.trim(), getComputedStyle(e).outlineStyle]; })()");
        if at[1] == "solid" {
            reached.insert(at[0].as_str().unwrap().to_owned());
        }
    }
    let all = browser.js("[...document.querySelectorAll('button:not(:disabled)')].filter((b) => b.offsetParent).map((b) => b.id || b.innerText.trim())");
    for control in all.as_array().unwrap() {
        assert!(
            reached.contains(control.as_str().unwrap()),
            "{control} in {reached:?}"
        );
    }
    assert!(Path::new(&path).exists());
}
