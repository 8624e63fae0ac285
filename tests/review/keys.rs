//! How few keys a review takes.

use cuptally::stock::format;

use crate::browser::{Browser, ENTER, Window};
use crate::need_browser;
use crate::sheets;
use crate::support::Server;

/// A poured sheet of 150 pieces, ten of which are doubtful, from opening the page to
/// checked pieces in the stock. Half of the guesses are wrong.
#[test]
fn a_poured_sheet_of_150_takes_at_most_30_keys() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("dumped-mixed-d65-180", 150, 10, true);
    assert_eq!(sheet.pieces.len(), 150);
    assert_eq!(sheet.pieces.iter().filter(|p| p.sure < 0.9).count(), 10);
    let path = sheets::write(home.path(), "poured", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    for k in 0..10 {
        browser.kept(|b| if k % 2 == 0 { b.key(ENTER) } else { b.key('1') });
    }
    browser.key(ENTER);
    browser.wait("document.querySelector('dialog[open] h2')?.innerText === 'Finish this sheet'");
    browser.key(ENTER);
    browser.wait("document.querySelector('dialog[open] h2')?.innerText === 'Done'");
    println!("{} keys", browser.presses);
    assert!(browser.presses <= 30, "{}", browser.presses);
    let sheet = sheets::read(&path);
    assert!(sheet.checked && sheet.review.unwrap().steps.len() == 10);
    let stock = format::parse(&std::fs::read(home.path().join("stock.json")).unwrap()).unwrap();
    assert!(stock.contents.pending.is_empty());
    let total = stock.contents.totals(false).unwrap().total().unwrap();
    assert_eq!(total.to_string().split(' ').next(), Some("150"));
}

/// Keys pressed faster than the disk are taken one after the other, none twice and
/// none lost.
#[test]
fn keys_pressed_in_a_burst_are_taken_in_turn() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let sheet = sheets::sheet("plates-sorted-d50-42", usize::MAX, 8, false);
    let path = sheets::write(home.path(), "quay", &sheet);
    let server = Server::start(home.path(), &[&path]);
    let mut browser = Browser::open(Window::Desktop, false);
    browser.review(&server.address);
    browser.keys(&[ENTER.into(), '1', ENTER.into(), '1', ENTER.into(), '1']);
    browser.wait("performance.getEntriesByName('action').length === 6");
    let steps = sheets::read(&path).review.unwrap().steps;
    let ids: Vec<u32> = steps.iter().map(|step| step.to[0].id).collect();
    let open: Vec<u32> = sheet
        .pieces
        .iter()
        .filter(|p| p.sure < 0.9)
        .map(|p| p.id)
        .collect();
    assert_eq!(ids, open[..6]);
}
