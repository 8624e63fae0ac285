//! Pieces side by side: what is shown, what one key accepts, and that nothing is accepted that was not seen.

use std::collections::BTreeSet;
use std::path::PathBuf;

use cuptally::sheet::review::What;
use cuptally::sheet::{Piece, SURE, Sheet};
use fantoccini::key::Key;
use serde_json::{Value, json};

use crate::browser::{Browser, ENTER, ESCAPE, WINDOWS, Window};
use crate::need_browser;
use crate::sheets::{self, read};
use crate::support::Server;

const PHOTO: &str = "plates-sorted-d50-42";

/// The general name of a colour that nobody taught.
const GENERAL: &str = "vivid yellow green";
/// A name that no piece has yet.
const FRESH: &str = "tide-line";

/// A sheet with a few doubtful pieces, among them two that cannot be laid beside others: one without a told form, and one
/// that is mostly covered. Another is of a colour that nobody taught, and there is a place that nothing explains.
fn sheet() -> Sheet {
    let mut sheet = sheets::sheet(PHOTO, usize::MAX, 7, false);
    let last = sheet.pieces.len();
    for (back, change) in [
        (
            1,
            &(|piece: &mut Piece| piece.form = "any".to_owned()) as &dyn Fn(&mut Piece),
        ),
        (2, &|piece| sheets::make_new(piece, GENERAL, &[])),
        (3, &|piece| piece.covered = 0.6),
    ] {
        let piece = &mut sheet.pieces[last - back];
        piece.sure = 0.5;
        piece.doubts = vec!["partly covered by others".to_owned()];
        change(piece);
    }
    sheet.unexplained = vec![sheets::spot(1850.0, 1500.0)];
    sheet.groups = cuptally::count::groups(&sheet.pieces);
    sheet
}

struct Review {
    browser: Browser,
    path: PathBuf,
    server: Server,
    counted: Sheet,
    _home: tempfile::TempDir,
}

impl Review {
    fn open(window: Window) -> Self {
        let home = tempfile::tempdir().unwrap();
        let counted = sheet();
        let path = sheets::write(&home.path().join("sheets"), "quay", &counted);
        let server = Server::start(home.path(), &[&path]);
        let mut browser = Browser::open(window, false);
        browser.review(&server.address);
        browser.key('b');
        seen(&browser);
        Self {
            browser,
            path,
            server,
            counted,
            _home: home,
        }
    }

    /// Ids of the crops that the screen shows.
    fn crops(&self) -> Vec<u32> {
        crops(&self.browser)
    }

    fn piece(&self, id: u32) -> Piece {
        let sheet = read(&self.path);
        sheet.pieces.into_iter().find(|p| p.id == id).unwrap()
    }

    fn steps(&self) -> usize {
        read(&self.path)
            .review
            .map_or(0, |review| review.steps.len())
    }
}

fn crops(browser: &Browser) -> Vec<u32> {
    let ids = browser
        .js("[...document.querySelectorAll('.crop:not(.place)')].map((b) => Number(b.dataset.id))");
    let ids = ids.as_array().unwrap().iter();
    ids.map(|id| id.as_u64().unwrap() as u32).collect()
}

fn seen(browser: &Browser) {
    browser.wait("document.querySelectorAll('.crop img').length > 0 && [...document.querySelectorAll('.crop img')].every((i) => i.complete && i.naturalWidth > 0)");
}

/// Every piece that can be is on one screen, none is below its edge, and what cannot stays for the other view.
#[test]
fn every_piece_is_on_one_screen_and_the_rest_is_told() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let mut review = Review::open(window);
        let mut shown: Vec<u32> = Vec::new();
        let mut places = 0;
        while review
            .browser
            .js("document.getElementById('side-accept').hidden")
            == json!(false)
        {
            seen(&review.browser);
            let below = review.browser.js("document.getElementById('bench').scrollHeight - document.getElementById('bench').clientHeight");
            assert_eq!(below, json!(0), "{window:?} {shown:?}");
            let beside = review.browser.js("[...document.querySelectorAll('.crop')].filter((c) => c.getBoundingClientRect().right > innerWidth).length");
            assert_eq!(beside, json!(0), "{window:?}");
            let crops = review.crops();
            let here = review
                .browser
                .js("document.querySelectorAll('.crop.place').length");
            assert!(crops.len() as u64 + here.as_u64().unwrap() > 0);
            shown.extend(crops);
            places += here.as_u64().unwrap();
            review.browser.key(Key::PageDown);
        }
        let once: BTreeSet<u32> = shown.iter().copied().collect();
        assert_eq!(once.len(), shown.len());
        let pieces = &review.counted.pieces;
        let placed: BTreeSet<u32> = (pieces.iter())
            .filter(|piece| piece.form != "any" && piece.covered < 0.5)
            .map(|piece| piece.id)
            .collect();
        assert_eq!(once, placed);
        assert_eq!((pieces.len() - placed.len(), places), (2, 1));
        let open = pieces.iter().filter(|piece| piece.sure < SURE).count();
        let words = format!("{} left to look at one by one", open + 1);
        assert_eq!(review.browser.text("#bench h2"), words);
        assert_eq!(review.steps(), 0);
        review.browser.key(ENTER);
        review
            .browser
            .wait("document.getElementById('side-view').hidden");
        assert!(review.browser.text(".card h2").starts_with("Piece "));
    }
}

/// On to the screen that has such a thing on it.
fn on_to(browser: &mut Browser, selector: &str) {
    for _ in 0..100 {
        if browser.js(&format!("document.querySelector('{selector}') !== null")) == json!(true) {
            seen(browser);
            return;
        }
        browser.key(Key::PageDown);
    }
    panic!("no screen has {selector}");
}

/// A colour that nobody taught is asked for before one key can accept it; a place is settled by the same key; what cannot be
/// laid beside others is taken as counted by one more, with its doubt.
#[test]
fn what_was_not_taught_is_named_and_the_rest_is_settled() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let mut review = Review::open(window);
        let enter = |browser: &mut Browser| match window {
            Window::Desktop => browser.key(ENTER),
            Window::Phone => browser.click("#side-accept"),
        };
        let new = (review.counted.pieces.iter())
            .find(|piece| piece.colour == GENERAL)
            .unwrap()
            .id;
        on_to(&mut review.browser, ".block.untaught");
        enter(&mut review.browser);
        review.browser.wait(
            "document.querySelector('dialog[open]')?.innerText.includes('never taught') === true",
        );
        assert_eq!(review.steps(), 0);
        review.browser.kept(|b| {
            b.text_in(FRESH);
            b.key(ENTER);
        });
        let named = review.piece(new);
        assert_eq!((named.colour.as_str(), named.looked_at), (FRESH, true));
        // The other pieces of that screen are still there, and are accepted.
        on_to(&mut review.browser, ".crop.place");
        let others = review.crops();
        review.browser.kept(|b| enter(b));
        let sheet = read(&review.path);
        assert!(sheet.unexplained.is_empty());
        let is_open = |piece: &&Piece| !piece.looked_at && piece.sure < SURE && !piece.as_counted;
        assert!(others.iter().all(|id| review.piece(*id).looked_at));
        // Back to those that were passed over.
        for _ in 0..20 {
            review.browser.key(Key::PageUp);
        }
        while review
            .browser
            .js("document.getElementById('side-accept').hidden")
            == json!(false)
        {
            seen(&review.browser);
            review.browser.kept(|b| enter(b));
        }
        let left: Vec<Piece> = (read(&review.path).pieces.into_iter())
            .filter(|piece| is_open(&piece))
            .collect();
        assert_eq!(left.len(), 2);
        assert!(
            left.iter()
                .all(|piece| piece.form == "any" || piece.covered >= 0.5)
        );
        review.browser.kept(|b| match window {
            Window::Desktop => b.key('k'),
            Window::Phone => b.press("Take them as counted"),
        });
        for before in left {
            let after = review.piece(before.id);
            assert!(after.as_counted && !after.looked_at);
            assert_eq!(after.sure, before.sure);
        }
        review
            .browser
            .wait("document.querySelector('#bench h2').innerText === 'Nothing left to look at'");
    }
}

/// All of a colour by what stands beside its name, and a row of crops with Shift.
#[test]
fn several_are_put_right_at_once() {
    if !need_browser() {
        return;
    }
    let mut review = Review::open(Window::Desktop);
    on_to(&mut review.browser, ".block .near-name[data-colour]");
    let of_block = "[...document.querySelector('.near-name[data-colour]').closest('.block').querySelectorAll('.crop')].map((c) => Number(c.dataset.id))";
    let ids = review.browser.js(of_block);
    let ids: Vec<u32> = serde_json::from_value(ids).unwrap();
    let to = review
        .browser
        .js("document.querySelector('.near-name[data-colour]').dataset.colour");
    review.browser.kept(|b| b.click(".near-name[data-colour]"));
    assert_eq!(review.steps(), 1);
    for id in &ids {
        let piece = review.piece(*id);
        assert_eq!((json!(piece.colour), piece.looked_at), (to.clone(), true));
    }
    review.browser.kept(|b| b.key('u'));
    assert_eq!(read(&review.path).pieces, review.counted.pieces);
    // From one crop to the third one on, by keys alone: one more press for all of them.
    review.browser.key(Key::PageUp);
    for _ in 0..100 {
        if review.crops().len() >= 3 {
            break;
        }
        review.browser.key(Key::PageDown);
    }
    seen(&review.browser);
    let three = review.crops()[..3].to_vec();
    review.browser.key(Key::Right);
    review.browser.shift(&[Key::Right, Key::Right]);
    assert!(review.browser.text("#strip").contains("3 pieces"));
    review.browser.key('c');
    review.browser.kept(|b| {
        b.text_in(FRESH);
        b.key(ENTER);
    });
    assert_eq!(review.steps(), 1);
    for piece in &read(&review.path).pieces {
        assert_eq!(piece.colour == FRESH, three.contains(&piece.id));
    }
}

#[test]
fn one_key_accepts_a_screen_and_the_sheet_says_so() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let mut review = Review::open(window);
        let first = review.crops();
        match window {
            Window::Desktop => review.browser.kept(|b| b.key(ENTER)),
            Window::Phone => review.browser.kept(|b| b.click("#side-accept")),
        }
        let after = read(&review.path);
        let step = after.review.as_ref().unwrap().steps.last().unwrap();
        assert_eq!(step.what, What::Accept);
        let accepted: BTreeSet<u32> = step.to.iter().map(|piece| piece.id).collect();
        assert_eq!(accepted, first.iter().copied().collect());
        for piece in &after.pieces {
            let is_first = accepted.contains(&piece.id);
            assert_eq!((piece.looked_at, piece.together), (is_first, is_first));
        }
        assert_eq!(after.review.unwrap().guess.pieces, review.counted.pieces);
        // The next screen, and back to this one by undoing.
        seen(&review.browser);
        assert!(review.crops().iter().all(|id| !accepted.contains(id)));
        review.browser.kept(|b| {
            if window == Window::Phone {
                b.click("#undo")
            } else {
                b.key('u')
            }
        });
        seen(&review.browser);
        assert_eq!(review.crops(), first);
        assert_eq!(read(&review.path).pieces, review.counted.pieces);
    }
}

/// To its neighbour by one click and by one key, to another size, out to the other view, and away.
#[test]
fn single_pieces_are_put_right_by_pointer_and_by_keys() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let mut review = Review::open(window);
        let doubtful = |review: &Review| {
            let id = review
                .browser
                .js("Number(document.querySelector('.crop.doubtful').dataset.id)");
            id.as_u64().unwrap() as u32
        };
        let to_doubtful = |review: &mut Review| {
            while review
                .browser
                .js("document.querySelector('.crop.doubtful') === null")
                == json!(true)
            {
                review.browser.key(Key::PageDown);
            }
            seen(&review.browser);
            doubtful(review)
        };
        let id = to_doubtful(&mut review);
        let was = review.piece(id);
        review
            .browser
            .kept(|b| b.click(&format!(".crop[data-id=\"{id}\"] + .chip")));
        let now = review.piece(id);
        assert_eq!(now.colour, was.instead[0].colour);
        assert!(now.looked_at && !now.together);
        assert!(!review.crops().contains(&id));
        // By keys alone: to the crop with the arrows, then what it is.
        let id = to_doubtful(&mut review);
        let was = review.piece(id);
        for _ in 0..100 {
            review.browser.key(Key::Right);
            if review
                .browser
                .js(&format!("document.activeElement.dataset.id === '{id}'"))
                == json!(true)
            {
                break;
            }
        }
        assert!(
            review
                .browser
                .text("#strip")
                .contains(&format!("Piece {id}"))
        );
        review.browser.kept(|b| b.key('1'));
        assert_eq!(review.piece(id).colour, was.instead[0].colour);
        // Another size, which it keeps being asked about.
        let id = to_doubtful(&mut review);
        let was = review.piece(id);
        review.browser.click(&format!(".crop[data-id=\"{id}\"]"));
        review.browser.key('z');
        let other = if was.size == "2x2" { "2x3" } else { "2x2" };
        review.browser.kept(|b| {
            b.text_in(other);
            b.key(ENTER);
        });
        assert_eq!(review.piece(id).size, other);
        assert!(
            review
                .browser
                .text("#strip")
                .contains(&format!("Piece {id}"))
        );
        // No piece at all.
        let id = to_doubtful(&mut review);
        review.browser.click(&format!(".crop[data-id=\"{id}\"]"));
        review.browser.kept(|b| b.press("Remove"));
        assert!(read(&review.path).pieces.iter().all(|piece| piece.id != id));
        review.browser.kept(|b| b.key('u'));
        assert!(review.crops().contains(&id), "undone, it is in view again");
        // By itself, and back.
        review.browser.click(&format!(".crop[data-id=\"{id}\"]"));
        review.browser.key('o');
        review.browser.wait(&format!(
            "document.querySelector('.card h2')?.innerText === 'Piece {id}'"
        ));
        review.browser.key('b');
        seen(&review.browser);
        assert_eq!(review.steps(), 3);
    }
}

/// A crop that is chosen and let go again is not touched by it, and what was put right is not accepted once more.
#[test]
fn choosing_changes_nothing() {
    if !need_browser() {
        return;
    }
    let mut review = Review::open(Window::Desktop);
    let first = review.crops()[0];
    review.browser.click(&format!(".crop[data-id=\"{first}\"]"));
    assert_eq!(
        review
            .browser
            .js("document.querySelectorAll('.crop[aria-pressed=true]').length"),
        json!(1)
    );
    review.browser.key(ESCAPE);
    assert_eq!(
        review
            .browser
            .js("document.querySelectorAll('.crop[aria-pressed=true]').length"),
        json!(0)
    );
    // Neither does pointing.
    review.browser.point(&format!(".crop[data-id=\"{first}\"]"));
    review
        .browser
        .wait("document.querySelectorAll('.crop[aria-pressed=true]').length === 1");
    assert_eq!(review.steps(), 0);
}

/// Nothing is accepted whose crop was not shown: here the photo is gone.
#[test]
fn what_is_not_shown_is_not_accepted() {
    if !need_browser() {
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let photos = home.path().join("photos");
    std::fs::create_dir_all(&photos).unwrap();
    let photo = sheets::photo_of(PHOTO);
    let copy = photos.join(photo.file_name().unwrap());
    std::fs::copy(&photo, &copy).unwrap();
    let path = sheets::write(home.path(), "quay", &sheet());
    let mut command = crate::support::command(home.path(), &[&path]);
    let server = Server::at(&mut command, &photos);
    std::fs::remove_file(&copy).unwrap();
    let mut browser = Browser::open(Window::Desktop, false);
    browser.go(&server.address);
    browser.wait("document.body.dataset.ready !== undefined");
    browser.key('b');
    browser.wait(
        "document.getElementById('message').innerText.includes('name its folder with --photos')",
    );
    browser.wait("[...document.querySelectorAll('.crop img')].every((i) => i.complete)");
    browser.key(ENTER);
    browser.wait("document.getElementById('message').innerText.includes('not accepted')");
    assert!(read(&path).review.is_none());
}

#[test]
fn a_second_window_follows_side_by_side() {
    if !need_browser() {
        return;
    }
    let mut review = Review::open(Window::Desktop);
    let mut second = Browser::open(Window::Phone, true);
    second.review(&review.server.address);
    second.kept(|b| b.key(ENTER));
    let looked: Vec<u32> = (read(&review.path).pieces.iter())
        .filter(|p| p.looked_at)
        .map(|p| p.id)
        .collect();
    let gone = format!(
        "[...document.querySelectorAll('.crop')].every((b) => Number(b.dataset.id) !== {})",
        looked[0]
    );
    review.browser.wait(&gone);
    // A whole screen there is gone here too, and none of it is accepted twice.
    second.key('b');
    seen(&second);
    let theirs = crops(&second);
    second.kept(|b| b.key(ENTER));
    review.browser.wait(&format!(
        "[...document.querySelectorAll('.crop')].every((b) => !{theirs:?}.includes(Number(b.dataset.id)))"
    ));
    seen(&review.browser);
    review.browser.kept(|b| b.key(ENTER));
    let steps = read(&review.path).review.unwrap().steps;
    let ids: Vec<u32> = steps
        .iter()
        .flat_map(|step| &step.to)
        .map(|p| p.id)
        .collect();
    let once: BTreeSet<u32> = ids.iter().copied().collect();
    assert_eq!(ids.len(), once.len());
}

#[test]
fn a_killed_review_goes_on_side_by_side() {
    if !need_browser() {
        return;
    }
    let mut review = Review::open(Window::Desktop);
    review.browser.kept(|b| b.key(ENTER));
    seen(&review.browser);
    // Killed with a key just pressed: the page shows no more as kept than what is on the disk.
    review.browser.keys(&[ENTER.into()]);
    review.server.kill();
    review.browser.wait("document.getElementById('message').innerText.includes('not running any more') || document.getElementById('kept').innerText.startsWith('Kept')");
    let looked = |sheet: &Sheet| sheet.pieces.iter().filter(|p| p.looked_at).count();
    let kept = read(&review.path);
    let steps = kept.review.as_ref().unwrap().steps.len();
    assert!((1..=2).contains(&steps), "{steps}");
    let server = Server::start(review._home.path(), &[&review.path]);
    review.browser.review(&server.address);
    review.browser.key('b');
    seen(&review.browser);
    assert_eq!(looked(&read(&review.path)), looked(&kept));
    let accepted: BTreeSet<u32> = (kept.pieces.iter())
        .filter(|p| p.looked_at)
        .map(|p| p.id)
        .collect();
    assert!(review.crops().iter().all(|id| !accepted.contains(id)));
    for _ in 0..steps {
        review.browser.kept(|b| b.key('u'));
    }
    assert_eq!(read(&review.path).pieces, review.counted.pieces);
}

/// One of several confirmed together teaches no colour: nobody looked at it alone.
#[test]
fn what_was_accepted_together_teaches_no_colour() {
    let home = tempfile::tempdir().unwrap();
    sheets::teach(home.path(), PHOTO);
    let text = std::fs::read_to_string(home.path().join("calibration/swatches.json")).unwrap();
    let book = cuptally::colour::SwatchBook::from_json(&text).unwrap();
    for together in [false, true] {
        let counted = sheets::sheet(PHOTO, 8, 2, false);
        let path = sheets::write(home.path(), "quay", &counted);
        let server = Server::start(home.path(), &[&path]);
        let id = counted.pieces[0].id;
        server
            .correct(json!({ "what": "accept", "ids": [id], "together": together }))
            .ok();
        let spoken = cuptally::review::witness::spoken_of(&read(&path), &book).len();
        assert_eq!(spoken, usize::from(!together));
    }
}

/// Mean colour of the middle of a picture, CIELAB D65.
fn middle_of(jpeg: &[u8]) -> [f64; 3] {
    let picture = image::load_from_memory(jpeg).unwrap().into_rgb8();
    let (width, height) = picture.dimensions();
    let mut sum = [0.0; 3];
    let mut number = 0.0;
    for x in width * 2 / 5..width * 3 / 5 {
        for y in height * 2 / 5..height * 3 / 5 {
            let rgb = picture.get_pixel(x, y).0;
            for (sum, level) in sum.iter_mut().zip(rgb) {
                *sum += cuptally::colour::lab::decode(f64::from(level) / 255.0);
            }
            number += 1.0;
        }
    }
    cuptally::colour::lab::lab_from_linear(sum.map(|v| v / number))
}

/// Tiles under a warm lamp look as their colours do in daylight; as photographed they do not.
#[test]
fn crops_look_as_in_daylight() {
    let home = tempfile::tempdir().unwrap();
    let counted = sheets::sheet("tiles-and-strays-led-b1-40", usize::MAX, 0, false);
    let path = sheets::write(home.path(), "quay", &counted);
    let server = Server::start(home.path(), &[&path]);
    let shown = server.shown();
    let mut off = Vec::new();
    for crop in shown["side"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|row| row["crops"].as_array().unwrap())
    {
        let (id, look) = (crop["id"].as_u64().unwrap(), crop["look"].as_str().unwrap());
        let piece = counted
            .pieces
            .iter()
            .find(|p| u64::from(p.id) == id)
            .unwrap();
        let answer = server.get(&format!("upright/0/{id}/{look}")).ok();
        assert!(answer.head.contains("max-age"), "{}", answer.head);
        let picture = image::load_from_memory(&answer.body).unwrap();
        let [wide, high] = [0, 1].map(|k| crop["box_mm"][k].as_f64().unwrap());
        let ratio = f64::from(picture.width()) / f64::from(picture.height());
        assert!((ratio - wide / high).abs() < 0.02);
        off.push(cuptally::colour::lab::de00(
            middle_of(&answer.body),
            piece.lab,
        ));
    }
    assert_eq!(off.len(), counted.pieces.len());
    let as_photographed: Vec<f64> = (counted.pieces.iter())
        .map(|piece| {
            let (x, y) = (piece.x_px.round() as u32 - 8, piece.y_px.round() as u32 - 8);
            let part = server.get(&format!("crop/0/1/{x}/{y}/16/16")).ok();
            cuptally::colour::lab::de00(middle_of(&part.body), piece.lab)
        })
        .collect();
    let median = |values: Vec<f64>| cuptally::numbers::median(values).unwrap();
    let (after, before) = (median(off), median(as_photographed));
    println!("{after:.1} dE00, as photographed {before:.1}");
    // Half: the rest is the lamp, under which some colours differ that do not in daylight, and gloss.
    assert!(after < 0.5 * before, "{after} {before}");
}

/// A crop is named by what it shows: asked for as it was before, it is not given as it is now.
#[test]
fn a_crop_of_another_state_is_refused() {
    let home = tempfile::tempdir().unwrap();
    let path = sheets::write(home.path(), "quay", &sheets::sheet(PHOTO, 6, 1, false));
    let server = Server::start(home.path(), &[&path]);
    let look = |shown: &Value, id: u64| {
        let rows = shown["side"].as_array().unwrap().iter();
        let mut crops = rows.flat_map(|row| row["crops"].as_array().unwrap());
        let crop = crops.find(|crop| crop["id"] == json!(id)).unwrap();
        crop["look"].as_str().unwrap().to_owned()
    };
    let before = look(&server.shown(), 1);
    server.get(&format!("upright/0/1/{before}")).ok();
    server
        .correct(json!({ "what": "change", "ids": [1], "size": "2x8" }))
        .ok();
    let after = look(&server.shown(), 1);
    assert_ne!(before, after);
    server.get(&format!("upright/0/1/{after}")).ok();
    server
        .get(&format!("upright/0/1/{before}"))
        .refused(422, "no longer on this sheet");
    server
        .get("upright/0/99/000000000000")
        .refused(422, "no longer on this sheet");
}
