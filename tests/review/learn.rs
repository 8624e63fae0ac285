//! Colours that are learned from what a person put right: at the end of a review, by command, and back.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use cuptally::colour::SwatchBook;
use cuptally::colour::lab::de00;
use cuptally::sheet::{Sheet, Spoilt};
use serde_json::{Value, json};

use crate::browser::{Browser, ESCAPE, WINDOWS};
use crate::need_browser;
use crate::sheets::{self, photo_of, read};
use crate::support::{PROGRAM, Server};

/// A call of the program: exit code, stdout, stderr.
fn run(home: &Path, args: &[&str]) -> (i32, String, String) {
    let home = ["--home", home.to_str().unwrap()];
    let done = Command::new(PROGRAM)
        .args(home)
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        done.status.code().unwrap(),
        text(done.stdout),
        text(done.stderr),
    )
}

fn swatches(home: &Path) -> PathBuf {
    home.join("calibration/swatches.json")
}

fn book(home: &Path) -> SwatchBook {
    SwatchBook::from_json(&fs::read_to_string(swatches(home)).unwrap()).unwrap()
}

/// Names of what was learned from counted photos.
fn learned(home: &Path) -> Vec<String> {
    let book = book(home);
    let from_photos = book.swatches().iter().filter(|s| s.from.is_some());
    from_photos.map(|s| s.name.clone()).collect()
}

/// Holds a file to its schema, and sees that the schema can refuse: `part` is nothing that it knows.
fn fits(schema: &str, file: &Path, part: Option<&str>) {
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
    let json = |path: &Path| -> Value { serde_json::from_slice(&fs::read(path).unwrap()).unwrap() };
    let validator = jsonschema::validator_for(&json(&docs.join(schema))).unwrap();
    let file = json(file);
    validator
        .validate(&file)
        .unwrap_or_else(|error| panic!("{schema}: {error}"));
    if let Some(part) = part {
        let broken: Value =
            serde_json::from_str(&file.to_string().replace(part, "\"nonsense\"")).unwrap();
        assert!(
            !validator.is_valid(&broken),
            "{schema} takes nonsense for {part}"
        );
    }
}

const TAUGHT: &str = "teach-daylight-24";
const REVIEWED: &str = "plates-sorted-d65-window-48";
const LATER: &str = "plates-stored-turned-40";

/// Teaches the colours of the sample photo but for two, as if nobody had had a piece of those.
fn teach_all_but(home: &Path, but: [&str; 2]) {
    let photo = photo_of(TAUGHT);
    let truth: Value =
        serde_json::from_slice(&fs::read(photo.with_extension("json")).unwrap()).unwrap();
    let names: Vec<&str> = truth["names"]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n.as_str().unwrap())
        .collect();
    assert!(but.iter().all(|name| names.contains(name)));
    let photo = photo.to_str().unwrap().to_owned();
    let names = names.join(",");
    let args = [
        "teach", &photo, "--names", &names, "--light", "daylight", "--form", "plate",
    ];
    assert_eq!(run(home, &args).0, 0);
    assert_eq!(
        run(home, &["calibrate", &photo, "--light", "daylight"]).0,
        0
    );
    let mut known: Value = serde_json::from_slice(&fs::read(swatches(home)).unwrap()).unwrap();
    let colours = known["colours"].as_array_mut().unwrap();
    colours.retain(|colour| !but.iter().any(|name| colour["name"] == *name));
    fs::write(swatches(home), known.to_string()).unwrap();
}

fn count(home: &Path, name: &str) -> (PathBuf, Sheet) {
    let photo = photo_of(name);
    run(home, &["count", photo.to_str().unwrap(), "--form", "plate"]);
    let path = home.join("sheets").join(format!("{name}.sheet.json"));
    let sheet = read(&path);
    (path, sheet)
}

/// Ids of the pieces of a colour, by the scene's truth, and what each was called.
fn of_colour<'a>(sheet: &'a Sheet, name: &str, colour: &str) -> Vec<(u32, &'a str)> {
    let truth: Value =
        serde_json::from_slice(&fs::read(photo_of(name).with_extension("json")).unwrap()).unwrap();
    let place = |piece: &Value| [&piece["x_mm"], &piece["y_mm"]].map(|v| v.as_f64().unwrap());
    let all = truth["pieces"].as_array().unwrap();
    let found = all
        .iter()
        .filter(|piece| piece["colour"] == colour)
        .filter_map(|piece| {
            let [x, y] = place(piece);
            // Sorted pieces lie further apart than this.
            let near = |p: &&cuptally::sheet::Piece| (p.x_mm - x).hypot(p.y_mm - y) < 3.0;
            sheet.pieces.iter().find(near)
        });
    found
        .map(|piece| (piece.id, piece.colour.as_str()))
        .collect()
}

/// Two colours that nobody taught are named on the sheet of one photo; another photo's pieces then have
/// those names. Taken back, they have not.
#[test]
fn what_was_put_right_on_one_photo_names_the_pieces_of_the_next() {
    let home = tempfile::tempdir().unwrap();
    let home = home.path();
    teach_all_but(home, ["oilskin", "lichen"]);
    let taught = fs::read_to_string(swatches(home)).unwrap();
    let (path, sheet) = count(home, REVIEWED);
    let (_, before) = count(home, LATER);
    let right = |sheet: &Sheet, colour: &str| {
        let pieces = of_colour(sheet, LATER, colour);
        assert!(pieces.len() >= 4, "{pieces:?}");
        (
            pieces
                .iter()
                .filter(|(_, called)| *called == colour)
                .count(),
            pieces.len(),
        )
    };
    assert_eq!(
        (right(&before, "oilskin").0, right(&before, "lichen").0),
        (0, 0)
    );
    assert_eq!(sheet.light.as_deref(), Some("daylight"));
    fits("sheet-v1.schema.json", &path, None);
    let file = path.to_str().unwrap();

    // Nobody has said anything yet.
    let (code, out, err) = run(home, &["teach", "--from", file]);
    assert_eq!((code, out.as_str()), (1, ""));
    assert!(
        err.contains("nobody has set or confirmed a colour") && err.contains(file),
        "{err}"
    );
    assert_eq!(fs::read_to_string(swatches(home)).unwrap(), taught);

    // One colour piece by piece, one by its cluster's name.
    let server = Server::start(home, &[&path]);
    let oilskin = of_colour(&sheet, REVIEWED, "oilskin");
    for (id, _) in &oilskin {
        server
            .correct(json!({ "what": "change", "ids": [id], "colour": "oilskin" }))
            .ok();
    }
    let lichen = of_colour(&sheet, REVIEWED, "lichen");
    server
        .correct(json!({ "what": "recolour", "from": lichen[0].1, "to": "lichen" }))
        .ok();
    drop(server);
    let (code, out, err) = run(home, &["teach", "--from", file]);
    assert_eq!(code, 0, "{out}{err}");
    assert!(
        out.contains("lichen (new), oilskin (new)") && out.contains("in light 'daylight'"),
        "{out}"
    );
    assert_eq!(learned(home), ["lichen", "oilskin"]);
    fits(
        "swatches-v1.schema.json",
        &swatches(home),
        Some(&format!("\"{}\"", sheet.photos.first.hash)),
    );
    // What is stored is what was measured.
    let book = book(home);
    let stored = book
        .swatches()
        .iter()
        .find(|s| s.name == "oilskin")
        .unwrap();
    let measured = |(id, _): &(u32, &str)| sheet.pieces.iter().find(|p| p.id == *id).unwrap().lab;
    assert_eq!(
        stored.samples,
        oilskin.iter().map(measured).collect::<Vec<_>>()
    );

    // Again replaces, and the JSON says the same.
    let kept = fs::read_to_string(swatches(home)).unwrap();
    let (code, out, _) = run(home, &["teach", "--from", file, "--json"]);
    let told: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (code, &told[0]["colours"][1]["name"]),
        (0, &json!("oilskin"))
    );
    assert_eq!(told[0]["photo"]["hash"], sheet.photos.first.hash.as_str());
    assert_eq!(fs::read_to_string(swatches(home)).unwrap(), kept);

    let (_, after) = count(home, LATER);
    for colour in ["oilskin", "lichen"] {
        let (named, all) = right(&after, colour);
        // A piece with a lamp in it may still be taken for another.
        assert!(named + 1 >= all && named >= 4, "{colour}: {named} of {all}");
    }

    // A slip is not believed, and needs a look.
    let server = Server::start(home, &[&path]);
    let kelp = of_colour(&sheet, REVIEWED, "kelp");
    let clear = |id: u32| {
        sheet
            .pieces
            .iter()
            .any(|p| p.id == id && p.spoilt == Some(Vec::new()))
    };
    let id = kelp
        .iter()
        .map(|(id, _)| *id)
        .find(|id| clear(*id))
        .unwrap();
    server
        .correct(json!({ "what": "change", "ids": [id], "colour": "oilskin" }))
        .ok();
    drop(server);
    let (code, out, _) = run(home, &["teach", "--from", file]);
    assert_eq!(code, 3, "{out}");
    assert!(
        out.contains(&format!("look: piece {id}, oilskin, left out")),
        "{out}"
    );
    assert_eq!(fs::read_to_string(swatches(home)).unwrap(), kept);

    // Taken back, by the sheet or, as it is gone, by its photo; then nothing is left of it.
    fs::remove_file(&path).unwrap();
    let (code, out, _) = run(home, &["teach", "--forget", &format!("{REVIEWED}.jpg")]);
    assert_eq!(code, 0);
    assert!(
        out.contains("not taught any more: lichen, oilskin"),
        "{out}"
    );
    let back = SwatchBook::from_json(&taught).unwrap();
    assert_eq!(self::book(home), back);
    let (code, out, err) = run(home, &["teach", "--forget", &format!("{REVIEWED}.jpg")]);
    assert_eq!((code, out.as_str()), (1, ""));
    assert!(err.contains("nothing was learned from"), "{err}");
    let (_, again) = count(home, LATER);
    assert_eq!(again.pieces, before.pieces);
}

#[test]
fn what_cannot_be_asked_is_refused_and_nothing_is_written() {
    let home = tempfile::tempdir().unwrap();
    let home = home.path();
    let sheet = sheets::write(home, "quay", &sheets::sheet(REVIEWED, 5, 0, false));
    let sheet = sheet.to_str().unwrap();
    for args in [
        &["teach", "--from", sheet, "--names", "a"][..],
        &["teach", "--from", sheet, "--forget", sheet],
        &[
            "teach",
            "--from",
            sheet,
            "--weigh",
            "plate 2x4",
            "--grams",
            "2",
        ],
        &["teach", "--from", sheet, "--light", "a/b"],
        &["teach", "--forget", sheet, "--light", "pier"],
        &["teach", "--from"],
    ] {
        let (code, out, _) = run(home, args);
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}");
    }
    let photo = photo_of(REVIEWED);
    let (code, _, err) = run(home, &["teach", "--from", photo.to_str().unwrap()]);
    assert_eq!(code, 1);
    assert!(err.contains("no sheet file"), "{err}");
    assert!(!swatches(home).exists());
}

/// A sheet on which one colour was confirmed, one set to a name that nobody taught, one set by mistake,
/// and one confirmed that a lamp mirrors in; nothing is left to look at.
fn put_right(home: &Path) -> PathBuf {
    sheets::teach(home, REVIEWED);
    let mut sheet = sheets::sheet(REVIEWED, 12, 3, false);
    sheet.pieces[5].spoilt = Some(vec![Spoilt::Lamp]);
    let path = sheets::write(&home.join("sheets"), "quay", &sheet);
    let server = Server::start(home, &[&path]);
    let [confirmed, renamed, mistaken] = [0, 4, 8].map(|at: usize| sheet.pieces[at].clone());
    let book = book(home);
    let off = |s: &&cuptally::colour::Swatch| de00(s.middle(), mistaken.lab);
    let far = book
        .swatches()
        .iter()
        .max_by(|a, b| off(a).total_cmp(&off(b)))
        .unwrap();
    for correction in [
        json!({ "what": "accept", "ids": [confirmed.id] }),
        json!({ "what": "change", "ids": [renamed.id], "colour": "harbour-foam" }),
        json!({ "what": "change", "ids": [mistaken.id], "colour": far.name }),
        json!({ "what": "accept", "ids": [sheet.pieces[5].id] }),
    ] {
        server.correct(correction).ok();
    }
    path
}

/// Offered and not ticked; ticked, it is learned, once however often; unticked, it is taken back.
#[test]
fn the_end_of_a_review_offers_to_learn_and_to_take_it_back() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let home = tempfile::tempdir().unwrap();
        let home = home.path();
        let path = put_right(home);
        let confirmed = read(&path).pieces[0].colour.clone();
        let taught = fs::read(swatches(home)).unwrap();
        let server = Server::start(home, &[&path]);
        let browser = Browser::open(window, false);
        browser.review(&server.address);
        let open = |b: &Browser| {
            b.click("#finish");
            b.wait("document.querySelector('dialog[open] h2')?.innerText === 'Finish this sheet'");
            b.js("document.querySelector('.learning input').checked") == json!(true)
        };
        let end = |b: &Browser, words: &str| {
            b.press(words);
            b.wait("document.querySelector('dialog[open] h2')?.innerText === 'Done'");
            let done = b.text("dialog .dialog-lead");
            b.press("Stay here");
            b.wait("!document.querySelector('dialog[open]')");
            done
        };
        assert!(!open(&browser), "it is ticked from the beginning");
        let told = browser.text(".learning");
        assert!(
            told.contains("Learn colours from what I put right (2 pieces)"),
            "{told}"
        );
        assert!(
            told.contains(&confirmed) && told.contains("harbour-foam from 1 piece"),
            "{told}"
        );
        assert!(
            told.contains("new") && told.contains("is it the same colour?"),
            "{told}"
        );
        assert!(
            browser
                .text(".learning .slips")
                .contains("from all that was taught by that name")
        );
        browser.click(".learning summary");
        assert!(
            browser
                .text(".learning details")
                .contains("a lamp mirrors in it")
        );
        if let Some(folder) = std::env::var_os("CUPTALLY_PICTURES") {
            let name = format!("learning-{window:?}.png").to_lowercase();
            fs::create_dir_all(&folder).unwrap();
            fs::write(Path::new(&folder).join(name), browser.picture()).unwrap();
        }
        let done = end(&browser, "Leave it pending");
        assert!(!done.contains("earned"), "{done}");
        assert_eq!(fs::read(swatches(home)).unwrap(), taught);

        open(&browser);
        browser.click(".learning input");
        let done = end(&browser, "Leave it pending");
        assert!(
            done.contains("harbour-foam (new)") && done.contains("teach --forget"),
            "{done}"
        );
        let mut names = [confirmed.clone(), "harbour-foam".to_owned()];
        names.sort();
        assert_eq!(learned(home), names);
        let kept = fs::read(swatches(home)).unwrap();

        assert!(open(&browser), "what was learned is not ticked");
        end(&browser, "Leave it pending");
        assert_eq!(fs::read(swatches(home)).unwrap(), kept);

        open(&browser);
        browser.click(".learning input");
        let done = end(&browser, "Post as checked");
        assert!(done.contains("was taken back"), "{done}");
        assert_eq!(learned(home), [""; 0]);
        assert!(read(&path).checked);
    }
}

/// Where nobody spoke of a colour there is nothing to offer.
#[test]
fn a_review_without_a_word_on_colours_offers_nothing() {
    if !need_browser() {
        return;
    }
    for window in WINDOWS {
        let home = tempfile::tempdir().unwrap();
        sheets::teach(home.path(), REVIEWED);
        let sheet = sheets::sheet(REVIEWED, 12, 3, false);
        let path = sheets::write(&home.path().join("sheets"), "quay", &sheet);
        let server = Server::start(home.path(), &[&path]);
        let mut browser = Browser::open(window, false);
        browser.review(&server.address);
        browser.click("#finish");
        browser
            .wait("document.querySelector('dialog[open] h2')?.innerText === 'Finish this sheet'");
        assert_eq!(
            browser.js("document.querySelector('.learning')"),
            Value::Null
        );
        // Nor where all are taken without a look at each.
        browser.press("Take all 3 left as counted");
        browser.wait("document.querySelector('dialog[open] .primary')?.innerText.startsWith('Post as checked')");
        assert_eq!(
            browser.js("document.querySelector('.learning')"),
            Value::Null
        );
        browser.key(ESCAPE);
    }
}
