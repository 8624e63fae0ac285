//! Pieces of a colour that nobody taught: their general name is never taken unawares.

use std::path::PathBuf;

use cuptally::sheet::Sheet;
use cuptally::sheet::review::What;
use serde_json::{Value, json};

use crate::browser::{Browser, ENTER, WINDOWS, Window};
use crate::need_browser;
use crate::sheets::{self, read};
use crate::support::Server;

const GENERAL: &str = "vivid yellow green";
const TAUGHT: [(&str, f64); 4] = [
    ("eelgrass", 0.2),
    ("oilskin", 0.18),
    ("kelp", 0.05),
    ("driftwood", 0.02),
];

/// A sheet whose first four pieces are of a new colour; the last of them like no taught one.
fn sheet() -> Sheet {
    let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 0, false);
    for (k, piece) in sheet.pieces.iter_mut().take(4).enumerate() {
        let taught = if k < 3 { &TAUGHT[..] } else { &[] };
        sheets::make_new(piece, GENERAL, taught);
    }
    sheet.groups = cuptally::count::groups(&sheet.pieces);
    sheet
}

struct Review {
    browser: Browser,
    path: PathBuf,
    server: Server,
    _home: tempfile::TempDir,
}

fn open(browser: Browser) -> Review {
    let home = tempfile::tempdir().unwrap();
    let path = sheets::write(home.path(), "quay", &sheet());
    let server = Server::start(home.path(), &[&path]);
    browser.review(&server.address);
    Review {
        browser,
        path,
        server,
        _home: home,
    }
}

impl Review {
    /// What is written on the buttons, from the top.
    fn choices(&self) -> Vec<String> {
        let told = self.browser.js(
            "[...document.querySelectorAll('.choice')].map((b) => `${b.querySelector('.choice-colour')?.innerText ?? b.querySelector('.choice-kind').innerText} ${b.getAttribute('aria-keyshortcuts')}`)",
        );
        serde_json::from_value(told).unwrap()
    }

    fn colours(&self) -> Vec<String> {
        let pieces = read(&self.path).pieces.into_iter();
        pieces.take(4).map(|piece| piece.colour).collect()
    }
}

/// Enter and a tap on the highlighted button ask for the name; the taught colours and the general name have keys.
#[test]
fn a_new_colour_is_asked_for_and_never_taken_unawares() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let mut review = open(Browser::open(window, false));
        assert_eq!(
            review.browser.text(".card .why"),
            "This colour was never taught"
        );
        assert!(
            review
                .browser
                .text("#new-colour")
                .contains("likeliest first")
        );
        assert_eq!(
            review.choices(),
            [
                "Name this colour… Enter",
                "eelgrass 1",
                "oilskin 2",
                "kelp 3",
                "driftwood 4",
                "vivid yellow green 5"
            ]
        );
        // The one that Enter takes is the one that stands out.
        let bold = review.browser.js(
            "[...document.querySelectorAll('.choice')].map((b) => getComputedStyle(b).borderTopWidth)",
        );
        assert_eq!(bold, json!(["2px", "1px", "1px", "1px", "1px", "1px"]));
        review.browser.kept(|b| match window {
            Window::Phone => b.click(".choice:nth-child(2)"),
            Window::Desktop => b.key('1'),
        });
        review.browser.kept(|b| match window {
            Window::Phone => b.click(".choice:nth-child(3)"),
            Window::Desktop => b.key('2'),
        });
        review.browser.kept(|b| match window {
            Window::Phone => b.click(".choice:nth-child(6)"),
            Window::Desktop => b.key('5'),
        });
        assert_eq!(
            review.colours()[..3],
            ["eelgrass", "oilskin", GENERAL].map(str::to_owned)
        );
        let steps = read(&review.path).review.unwrap().steps;
        let what: Vec<What> = steps.iter().map(|step| step.what).collect();
        assert_eq!(what, [What::Change, What::Change, What::Accept]);

        // Nothing taught is likely: Enter asks for a name.
        assert_eq!(
            review.choices(),
            ["Name this colour… Enter", "vivid yellow green 1"]
        );
        match window {
            Window::Phone => review.browser.click(".choice.first"),
            Window::Desktop => review.browser.key(ENTER),
        }
        review
            .browser
            .wait("document.querySelector('dialog[open] h2')?.innerText === 'Which colour is it?'");
        assert_eq!(read(&review.path).review.unwrap().steps.len(), 3);
        review.browser.kept(|b| {
            b.text_in("sea-lettuce");
            b.key(ENTER);
        });
        assert_eq!(review.colours()[3], "sea-lettuce");
    }
}

/// Looking and finding it right is told from putting right.
#[test]
fn the_end_tells_confirmed_from_corrected() {
    if !need_browser() {
        return;
    }
    let mut review = open(Browser::open(Window::Desktop, false));
    let lead = |review: &mut Review| {
        review.browser.key('p');
        review
            .browser
            .wait("document.querySelector('dialog[open] .dialog-lead') !== null");
        let told = review.browser.text("dialog[open] .dialog-lead");
        let caution = review
            .browser
            .js("document.querySelector('dialog[open] .caution')?.innerText ?? ''");
        review.browser.key(crate::browser::ESCAPE);
        review
            .browser
            .wait("document.querySelector('dialog[open]') === null");
        let told = told.split_once("groups").unwrap().1.to_owned();
        (told, caution.as_str().unwrap().to_owned())
    };
    let (told, caution) = lead(&mut review);
    assert_eq!(told, ", as counted.");
    assert!(
        caution.contains("4 have colours that were never taught"),
        "{caution}"
    );
    // The general name, by its own key.
    review.browser.kept(|b| b.key('5'));
    assert_eq!(
        lead(&mut review).0,
        ", 1 piece confirmed, nothing corrected."
    );
    review.browser.kept(|b| b.key('5'));
    review.browser.kept(|b| b.key('1'));
    let (told, caution) = lead(&mut review);
    assert_eq!(told, ", 2 pieces confirmed, 1 correction.");
    assert!(
        caution.starts_with("1 thing is still to look at")
            && caution.contains("One has a colour that was never taught"),
        "{caution}"
    );
    // A confirmed piece that is put right after all is no confirmed one any more.
    let first = read(&review.path).pieces[0].id;
    review
        .server
        .correct(json!({ "what": "change", "ids": [first], "colour": "kelp" }))
        .ok();
    assert_eq!(
        review.server.shown()["done"],
        json!({ "confirmed": 1, "together": 0, "taken": 0, "settled": 0, "corrections": 2 })
    );
    review
        .server
        .correct(json!({ "what": "place", "name": "cup 9" }))
        .ok();
    assert_eq!(review.server.shown()["done"]["corrections"], 2);
}

/// A piece in doubt that could be nothing else has one button, and the page still stands.
#[test]
fn a_doubtful_piece_may_have_no_alternative() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let mut sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 1, false);
    let piece = sheet.pieces.iter_mut().find(|p| p.sure < 0.9).unwrap();
    piece.instead.clear();
    piece.doubts = vec!["the photo is blurred".to_owned()];
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    assert_eq!(browser.text(".card .why"), "the photo is blurred");
    browser.kept(|b| b.key(ENTER));
    assert_eq!(browser.text(".card h2"), "Nothing left to look at");
}

/// With five choices in a low window everything of the piece is in view above the groups, and of more
/// the first and the tools are.
#[test]
fn many_alternatives_do_not_run_into_the_groups() {
    if !need_browser() {
        return;
    }
    let review = open(Browser::open_low());
    let places = |css: &str| -> Vec<(f64, f64)> {
        let found = review.browser.js(&format!(
            "[...document.querySelectorAll({})].map((e) => [e.getBoundingClientRect().top, e.getBoundingClientRect().bottom])",
            json!(css)
        ));
        serde_json::from_value(found).unwrap()
    };
    let check = |all_choices: bool| {
        let groups = places(".totals")[0];
        assert!(
            groups.1 <= 720.5 && groups.1 - groups.0 > 100.0,
            "{groups:?}"
        );
        let tools = places(".tools button");
        assert_eq!(tools.len(), 9);
        assert!(
            tools.iter().all(|t| t.1 <= groups.0),
            "{tools:?} {groups:?}"
        );
        let choices = places(".choice");
        let seen = if all_choices { choices.len() } else { 1 };
        let list = places(".choices")[0];
        for choice in &choices[..seen] {
            assert!(
                choice.0 >= list.0 && choice.1 <= list.1,
                "{choice:?} {list:?}"
            );
        }
        assert!(list.1 <= tools[0].0, "{list:?} {tools:?}");
        // None is cut or painted over another.
        assert!(
            choices.windows(2).all(|two| two[0].1 <= two[1].0),
            "{choices:?}"
        );
        let cut = review.browser.js(
            "[...document.querySelectorAll('.choice')].filter((b) => b.scrollHeight > b.clientHeight + 1).length",
        );
        assert_eq!(cut, json!(0));
    };
    let mut sheet = read(&review.path);
    sheet.pieces[0].instead.pop();
    sheets::write(review.path.parent().unwrap(), "quay", &sheet);
    review
        .browser
        .wait("document.querySelectorAll('.choice').length === 5");
    check(true);
    let names = ["driftwood", "cream", "slate", "charcoal", "mooring-blue"];
    let piece = &mut sheet.pieces[0];
    for (k, name) in names.iter().enumerate() {
        let mut other = piece.instead[0].clone();
        (other.colour, other.sure) = ((*name).to_owned(), 0.015 - k as f64 * 0.002);
        piece.instead.push(other);
    }
    sheets::write(review.path.parent().unwrap(), "quay", &sheet);
    review
        .browser
        .wait("document.querySelectorAll('.choice').length === 10");
    check(false);
    let value: Value = review.server.shown();
    assert_eq!(value["pieces"][0]["instead"].as_array().unwrap().len(), 8);
}

/// A range is amber where its number is not sure and nowhere else, as in the marked-up picture.
#[test]
fn ranges_are_amber_only_where_the_number_is_not_sure() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 6, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    let told = browser.js(
        "Object.fromEntries([...document.querySelectorAll('#groups .row')].map((row) => { const range = row.querySelector('.row-range'); return [row.dataset.kind, [range.innerText, getComputedStyle(range).color]]; }))",
    );
    let [mut amber, mut grey] = [Vec::new(), Vec::new()];
    for group in sheet.groups.iter().filter(|g| g.is_counted()) {
        let kind = format!("{} {} {}", group.colour, group.form, group.size);
        if group.low != group.high {
            let range = format!("{}–{}", group.low, group.high);
            assert_eq!(told[&kind][0], range, "{kind}");
            let inks = if group.sure < 0.9 {
                &mut amber
            } else {
                &mut grey
            };
            inks.push(told[&kind][1].clone());
        }
    }
    assert!(!amber.is_empty() && !grey.is_empty(), "{amber:?} {grey:?}");
    assert!(
        amber.iter().all(|ink| *ink == "rgb(138, 82, 0)"),
        "{amber:?}"
    );
    assert!(
        grey.iter().all(|ink| *ink == "rgb(84, 99, 106)"),
        "{grey:?}"
    );
}
