//! Every action a person can take, in both windows; each is looked for on the disk.

use std::path::{Path, PathBuf};

use cuptally::pieces::Shapes;
use cuptally::review::tray::{Stand, Tray};
use cuptally::sheet::review::What;
use cuptally::sheet::{Piece, Sheet};
use fantoccini::key::Key;

use crate::browser::{Browser, ENTER, ESCAPE, WINDOWS, Window};
use crate::need_browser;
use crate::sheets::{self, read};
use crate::support::Server;

const PHOTO: &str = "plates-sorted-d50-42";

/// A review of one sheet in a window, with the piece numbered `missed` left out.
struct Review {
    browser: Browser,
    path: PathBuf,
    missed: Piece,
    _server: Server,
    _home: tempfile::TempDir,
}

impl Review {
    fn open(window: Window) -> Self {
        let home = tempfile::tempdir().unwrap();
        let mut sheet = sheets::sheet(PHOTO, usize::MAX, 5, false);
        let at = sheet.pieces.iter().position(|p| p.size == "2x4").unwrap();
        let missed = sheet.pieces.remove(at);
        sheet.unexplained = vec![sheets::spot(1850.0, 1500.0)];
        sheet.groups = cuptally::count::groups(&sheet.pieces);
        let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
        let server = Server::start(home.path(), &[&path]);
        let browser = Browser::open(window, false);
        browser.review(&server.address);
        Self {
            browser,
            path,
            missed,
            _server: server,
            _home: home,
        }
    }

    fn sheet(&self) -> Sheet {
        read(&self.path)
    }

    fn last(&self) -> cuptally::sheet::review::Step {
        self.sheet().review.unwrap().steps.last().unwrap().clone()
    }

    /// The number of the piece that the card shows.
    fn shown(&self) -> u32 {
        let title = self.browser.text(".card h2");
        title.trim_start_matches("Piece ").parse().unwrap()
    }

    fn piece(&self, id: u32) -> Piece {
        self.sheet()
            .pieces
            .into_iter()
            .find(|p| p.id == id)
            .unwrap()
    }

    /// Points at a piece in the photo.
    fn choose(&self, id: u32) {
        let piece = self.piece(id);
        let at = self.browser.on_photo(piece.x_px, piece.y_px);
        self.browser.drag(at, at);
        self.browser.wait(&format!(
            "document.querySelector('.card h2').innerText === 'Piece {id}'"
        ));
    }

    /// A piece that can be looked at, of this size.
    fn of_size(&self, size: &str) -> Piece {
        self.sheet()
            .pieces
            .into_iter()
            .find(|p| p.size == size)
            .unwrap()
    }
}

fn in_both_windows(test: impl Fn(&mut Review, Window)) {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        test(&mut Review::open(window), window);
    }
}

/// By key on the desktop, by pointing on the phone: accept, an alternative, the place
/// that nothing explains; then undo all of it and redo it.
#[test]
fn doubts_are_settled_one_by_one_and_taken_back() {
    in_both_windows(|review, window| {
        let before = review.sheet();
        let first = review.shown();
        assert_eq!(review.browser.text(".card .place"), "1 of 6 to look at");
        review.browser.kept(|b| match window {
            Window::Desktop => b.key(ENTER),
            Window::Phone => b.click(".choice.guess"),
        });
        assert!(review.piece(first).looked_at);
        assert_eq!(review.last().what, What::Accept);
        assert_eq!(
            (review.last().who.as_str(), review.last().to.len()),
            ("mara", 1)
        );

        let second = review.shown();
        assert_ne!(first, second);
        let other = review.piece(second).instead[0].colour.clone();
        review.browser.kept(|b| match window {
            Window::Desktop => b.key('1'),
            Window::Phone => b.click(".choice:nth-child(2)"),
        });
        assert_eq!(review.piece(second).colour, other);
        assert_eq!(review.last().what, What::Change);

        for _ in 0..3 {
            review.browser.kept(|b| b.key(ENTER));
        }
        assert_eq!(review.browser.text(".card h2"), "Something unexplained");
        let why = review.browser.text(".card .why");
        assert!(why.contains("12 × 15 mm, dark grayish green"), "{why}");
        review.browser.kept(|b| match window {
            Window::Desktop => b.key(ENTER),
            Window::Phone => b.press("Nothing to count"),
        });
        assert_eq!(review.last().what, What::Settle);
        assert!(review.sheet().unexplained.is_empty());
        assert_eq!(review.browser.text(".card h2"), "Nothing left to look at");
        let done = review.sheet();
        assert!(
            done.groups
                .iter()
                .all(|g| g.low <= g.count && g.count <= g.high)
        );

        for _ in 0..6 {
            review.browser.kept(|b| match window {
                Window::Desktop => b.key('u'),
                Window::Phone => b.click("#undo"),
            });
        }
        let back = review.sheet();
        assert_eq!((back.pieces, back.groups), (before.pieces, before.groups));
        assert_eq!(back.unexplained, before.unexplained);
        for _ in 0..6 {
            review.browser.kept(|b| match window {
                Window::Desktop => b.key('y'),
                Window::Phone => b.click("#redo"),
            });
        }
        assert_eq!(review.sheet(), done);
    });
}

#[test]
fn a_piece_is_given_another_form_size_colour_and_face() {
    in_both_windows(|review, window| {
        let id = review.of_size("1x4").id;
        review.choose(id);
        let old = review.piece(id);
        let open = |b: &mut Browser, key: char, word: &str| match window {
            Window::Desktop => b.key(key),
            Window::Phone => b.press(word),
        };
        review.browser.kept(|b| {
            open(b, 'f', "Form");
            match window {
                Window::Desktop => b.key('1'),
                Window::Phone => b.press("brick"),
            }
        });
        assert_eq!(review.piece(id).form, "brick");
        review.browser.kept(|b| {
            open(b, 'z', "Size");
            match window {
                Window::Desktop => {
                    b.text_in("2x6");
                    b.key(ENTER);
                }
                Window::Phone => b.press("2×6"),
            }
        });
        assert_eq!(review.piece(id).size, "2x6");
        // The outline is that of the new piece, in the old place.
        let area = |p: &Piece| {
            let corners: Vec<_> = p.outline_px.iter().map(|&[x, y]| (x, y)).collect();
            cuptally::pieces::polygon::area_and_middle(&corners).0
        };
        assert!(area(&review.piece(id)) > 2.0 * area(&old));
        assert!((review.piece(id).x_px - old.x_px).abs() < 40.0);
        review.browser.kept(|b| {
            open(b, 'c', "Colour");
            b.text_in("storm");
            b.key(ENTER);
        });
        assert_eq!(review.piece(id).colour, "storm");
        review.browser.kept(|b| {
            open(b, 'v', "Face");
            b.press("upside down");
        });
        assert_eq!(review.piece(id).face, "down");
        assert!(review.piece(id).looked_at);
        let told = review.browser.text(".was");
        assert_eq!(
            told,
            format!("Was counted as {} plate 1×4, studs up.", old.colour)
        );
        // The group list has moved along.
        assert!(review.browser.text("#groups").contains("storm"));
        // No corner comes as 2x6, so that its size is asked as well.
        review.browser.kept(|b| {
            open(b, 'f', "Form");
            b.press("corner");
            b.press("2×2");
        });
        let now = review.piece(id);
        assert_eq!((now.form.as_str(), now.size.as_str()), ("corner", "2x2"));
    });
}

#[test]
fn pieces_are_removed_split_and_joined() {
    in_both_windows(|review, window| {
        let id = review.of_size("2x6").id;
        review.choose(id);
        review.browser.kept(|b| {
            match window {
                Window::Desktop => b.key('s'),
                Window::Phone => b.press("Split"),
            }
            b.press("2×2 + 2×4");
        });
        let step = review.last();
        assert_eq!(step.what, What::Split);
        let sizes: Vec<&str> = step.to.iter().map(|p| p.size.as_str()).collect();
        assert_eq!((step.from[0].id, sizes), (id, vec!["2x2", "2x4"]));

        // One of the two is shown now, and the other is its nearest neighbour.
        let half = review.shown();
        assert!(step.to.iter().any(|p| p.id == half));
        review.browser.kept(|b| {
            match window {
                Window::Desktop => b.key('j'),
                Window::Phone => b.press("Join"),
            }
            match window {
                Window::Desktop => b.key('1'),
                Window::Phone => b.click(".near .choice"),
            }
        });
        let step = review.last();
        assert_eq!((step.what, step.to[0].size.as_str()), (What::Join, "2x6"));

        let whole = review.shown();
        assert_eq!(whole, step.to[0].id);
        review.browser.kept(|b| match window {
            Window::Desktop => b.key('x'),
            Window::Phone => b.press("Remove"),
        });
        assert_eq!(review.last().what, What::Remove);
        assert!(
            review
                .sheet()
                .pieces
                .iter()
                .all(|p| p.id != whole && p.id != id)
        );
    });
}

/// The piece that the sheet lacks is dragged around by hand: size, turn and colour are
/// those of the truth.
#[test]
fn a_missed_piece_is_added_by_a_drag() {
    in_both_windows(|review, _| {
        let sheet = review.sheet();
        let missed = review.missed.clone();
        let outline = Tray::of(&sheet, Shapes::shipped())
            .unwrap()
            .outline(&Stand::of(&missed))
            .unwrap();
        let bound = |k: usize| {
            let values = outline.iter().map(|p| p[k]);
            (
                values.clone().fold(f64::INFINITY, f64::min),
                values.fold(f64::NEG_INFINITY, f64::max),
            )
        };
        let ((left, right), (top, bottom)) = (bound(0), bound(1));
        review.browser.click("#add");
        let from = review.browser.on_photo(left - 12.0, top - 8.0);
        let to = review.browser.on_photo(right + 9.0, bottom + 14.0);
        review.browser.drag(from, to);
        review
            .browser
            .wait("document.querySelector('.card h2').innerText === 'A new piece'");
        review.browser.kept(|b| b.press("Add it"));
        let added = review.last().to[0].clone();
        assert_eq!(review.last().what, What::Add);
        assert_eq!((added.size.as_str(), added.form.as_str()), ("2x4", "plate"));
        assert_eq!(added.colour, missed.colour);
        let turned = (added.turn_deg - missed.turn_deg).rem_euclid(180.0);
        // Half a stud at the end of a 2x4 is 14 degrees; a careful eye sees five.
        assert!(turned.min(180.0 - turned) < 5.0, "{turned}");
        assert!((added.x_mm - missed.x_mm).hypot(added.y_mm - missed.y_mm) < 2.0);
        assert_eq!(review.shown(), added.id);
    });
}

/// Without any pointer: placed, moved, turned and changed by keys.
#[test]
fn a_piece_is_added_by_keys_alone() {
    if !need_browser() {
        return;
    }
    let mut review = Review::open(Window::Desktop);
    review.browser.key('a');
    review.browser.key(ENTER);
    review
        .browser
        .wait("document.querySelector('.card h2').innerText === 'A new piece'");
    let outline = "document.querySelector('.draft .line').getAttribute('points')";
    for key in [Key::Right.into(), Key::Down.into(), '.'] {
        let before = review.browser.js(outline);
        review.browser.key(key);
        review.browser.wait(&format!("{outline} !== {before}"));
    }
    review.browser.key('z');
    review.browser.text_in("1x3");
    review.browser.key(ENTER);
    review
        .browser
        .wait("document.querySelector('.card .why').innerText.endsWith('plate 1×3')");
    review.browser.kept(|b| b.key(ENTER));
    let added = review.last().to[0].clone();
    assert_eq!((added.size.as_str(), added.looked_at), ("1x3", true));
    // And given up again: nothing changes.
    let before = review.sheet();
    review.browser.key('a');
    review.browser.key(ENTER);
    review
        .browser
        .wait("document.querySelector('.card h2').innerText === 'A new piece'");
    review.browser.key(ESCAPE);
    review
        .browser
        .wait("document.querySelector('.card h2').innerText.startsWith('Piece')");
    assert_eq!(review.sheet(), before);
}

#[test]
fn a_groups_number_is_set_outright_with_a_reason() {
    in_both_windows(|review, window| {
        match window {
            Window::Desktop => review.browser.key('g'),
            Window::Phone => review.browser.click("#set-count"),
        }
        review
            .browser
            .wait("document.querySelector('dialog[open]') !== null");
        let fill = |b: &Browser, name: &str, value: &str| {
            b.run(&format!(
                "document.querySelector('dialog [name={name}]').value = '{value}'"
            ));
        };
        review.browser.run("const f = document.querySelector('dialog [name=form]'); f.value = 'plate'; f.dispatchEvent(new Event('change'))");
        fill(&review.browser, "size", "1x1");
        fill(&review.browser, "colour", "kelp");
        review.browser.click("dialog [name=count]");
        review.browser.text_in("37");
        // Without a reason it is refused, in the dialog, and nothing is written.
        review.browser.press("Set the number");
        review
            .browser
            .wait("!document.querySelector('dialog .wrong').hidden");
        assert!(
            review
                .browser
                .text("dialog .wrong")
                .contains("why the number is set")
        );
        assert!(review.sheet().review.is_none());
        review.browser.click("dialog [name=reason]");
        review.browser.text_in("pile by the rim");
        review.browser.kept(|b| b.press("Set the number"));
        let sheet = review.sheet();
        let set = &sheet.review.as_ref().unwrap().counts[0];
        assert_eq!((set.count, set.reason.as_str()), (37, "pile by the rim"));
        let group = sheet
            .groups
            .iter()
            .find(|g| g.size == "1x1" && g.colour == "kelp");
        assert_eq!(group.map(|g| (g.count, g.low, g.high)), Some((37, 37, 37)));
        // The list shows it, and lets the pieces count again.
        review.browser.click("[data-kind='kelp plate 1x1']");
        review.browser.kept(|b| b.press("Let the pieces count"));
        assert!(review.sheet().review.unwrap().counts.is_empty());
    });
}

#[test]
fn all_of_a_colour_are_really_another() {
    in_both_windows(|review, window| {
        let id = review.of_size("1x4").id;
        review.choose(id);
        let old = review.piece(id).colour;
        let many = review
            .sheet()
            .pieces
            .iter()
            .filter(|p| p.colour == old)
            .count();
        review.browser.kept(|b| {
            match window {
                Window::Desktop => b.key('r'),
                Window::Phone => b.click(".tools .wide"),
            }
            b.text_in("tide-line");
            b.key(ENTER);
        });
        let sheet = review.sheet();
        let now = |colour: &str| sheet.pieces.iter().filter(|p| p.colour == colour).count();
        assert_eq!((now(&old), now("tide-line")), (0, many));
        assert_eq!(review.last().what, What::Recolour);
        // What was guessed stays readable.
        let guess = &sheet.review.unwrap().guess;
        assert_eq!(
            guess.pieces.iter().filter(|p| p.colour == old).count(),
            many
        );
    });
}

/// Looking closer: wheel, buttons, dragging; the photo is never lost.
#[test]
fn the_photo_can_be_zoomed_and_moved() {
    in_both_windows(|review, _| {
        let width = |b: &Browser| {
            let view = b.js("document.getElementById('photo').viewBox.baseVal.width");
            view.as_f64().unwrap()
        };
        let whole = width(&review.browser);
        review.browser.click("#zoom-in");
        review.browser.click("#zoom-in");
        assert!((whole / width(&review.browser) - 2.25).abs() < 0.01);
        let middle = |b: &Browser| {
            b.js("document.getElementById('photo').viewBox.baseVal.x")
                .as_f64()
                .unwrap()
        };
        let before = middle(&review.browser);
        let (x, y) = review.browser.on_photo(1000.0, 700.0);
        review.browser.drag((x, y), (x - 60.0, y));
        assert!(middle(&review.browser) > before);
        review.browser.click("#zoom-fit");
        assert!((width(&review.browser) - whole).abs() < 1.0);
    });
}

/// What the tests lean on: the sheet is as its photo's truth.
#[test]
fn the_sheet_is_that_of_its_photo() {
    let sheet = sheets::sheet(PHOTO, usize::MAX, 5, false);
    assert_eq!(sheet.pieces.len(), 42);
    assert_eq!(sheet.pieces.iter().filter(|p| p.sure < 0.9).count(), 5);
    assert!(Path::new(&sheets::photo_of(PHOTO)).exists());
}
