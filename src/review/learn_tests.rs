#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
use super::*;
use crate::colour::Flaw;
use crate::colour::lab::{lab_from_linear, linear_from_lab};
use crate::pieces::Shapes;
use crate::review::correction::Correction;
use crate::review::history;
use crate::review::resolve::resolve;
use crate::review::witness::{FAR_DE00, Why};
use crate::sheet::file::Version;
use crate::sheet::review::Step;
use crate::sheet::{Instead, Spoilt};
use proptest::prelude::*;
use serde_json::{Value, json};

const KELP: [f64; 3] = [40.0, -30.0, 25.0];
const RUST: [f64; 3] = [44.0, 29.0, 35.0];

/// A sheet of plates, of these numbers, colours and measured colours.
fn sheet(pieces: &[(u32, &str, [f64; 3])]) -> Sheet {
    let pieces = pieces.iter().map(|(id, colour, lab)| {
        json!({
            "id": id, "form": "plate", "size": "2x4", "colour": colour, "x_px": 0, "y_px": 0, "x_mm": 0, "y_mm": 0,
            "turn_deg": 0, "face": "up", "sure": 0.6, "lab": lab, "spoilt": [], "outline_px": [],
            "doubts": ["colour not taught"],
        })
    });
    serde_json::from_value(json!({
        "sheet": Version::V1,
        "photo": { "file": "cup.jpg", "width_px": 4000, "height_px": 3000, "hash": "c".repeat(64) },
        "card": {
            "version": "v1", "tags": [], "corners_px": [[0, 0], [0, 0], [0, 0], [0, 0]], "reprojection_px": 0,
            "mm_per_px": 0.1, "tilt_deg": 0, "camera_height_mm": 400, "patches": 24,
        },
        "colour": { "mean_de00": 1, "p95_de00": 1, "max_de00": 1, "print_profile": false, "method": "matrix" },
        "pieces": pieces.collect::<Vec<Value>>(), "groups": [], "warnings": [],
    }))
    .unwrap()
}

fn book() -> SwatchBook {
    let mut book = SwatchBook::default();
    for (name, lab) in [("kelp", KELP), ("rust", RUST)] {
        book.teach(Swatch {
            name: name.into(),
            samples: vec![lab],
            light: "pier".into(),
            flaw: None,
            from: None,
        })
        .unwrap();
    }
    book
}

/// Corrects a sheet as the page does.
fn correct(sheet: &mut Sheet, correction: Value) {
    let correction: Correction = serde_json::from_value(correction).unwrap();
    let step = resolve(sheet, None, Shapes::shipped(), &correction).unwrap();
    let step = Step {
        what: step.what,
        who: "mara".into(),
        time: "2026-05-02T10:12:00Z".parse().unwrap(),
        from: step.from,
        to: step.to,
        settled: step.settled,
        count: step.count,
        place: step.place,
    };
    history::record(sheet, step);
}

fn is_called(sheet: &mut Sheet, id: u32, colour: &str) {
    correct(
        sheet,
        json!({ "what": "change", "ids": [id], "colour": colour }),
    );
}

fn lesson(sheet: &Sheet) -> Lesson {
    Lesson::of(sheet, &book(), None).unwrap()
}

/// What came of one piece.
fn why(lesson: &Lesson, id: u32) -> Option<Why> {
    lesson
        .left_out
        .iter()
        .find(|left| left.piece == id)
        .map(|left| left.why)
}

fn near(lab: [f64; 3]) -> [f64; 3] {
    [lab[0] + 1.0, lab[1] - 1.0, lab[2] + 1.0]
}

#[test]
fn what_a_person_set_or_confirmed_is_learned_and_nothing_else() {
    let mut sheet = sheet(&[
        (1, "kelp", near(KELP)),
        (2, "fog", near(RUST)),
        (3, "kelp", KELP),
        (4, "kelp", KELP),
        (5, "kelp", KELP),
    ]);
    assert!(lesson(&sheet).is_empty());
    correct(&mut sheet, json!({ "what": "accept", "ids": [1] }));
    is_called(&mut sheet, 2, "rust");
    // All at once is no look at each.
    correct(&mut sheet, json!({ "what": "accept", "ids": [3, 4] }));
    let lesson = lesson(&sheet);
    let learned: Vec<_> = (lesson.colours.iter())
        .map(|c| (c.name.as_str(), c.pieces.as_slice(), c.new))
        .collect();
    assert_eq!(
        learned,
        [("kelp", &[1][..], false), ("rust", &[2][..], false)]
    );
    assert_eq!(lesson.colours[1].samples, [near(RUST)]);
    assert!(lesson.left_out.is_empty() && !lesson.needs_a_look());
    assert_eq!(lesson.light, format!("photo-{}", "c".repeat(12)));
    // Taken back, it was never said.
    history::undo(&mut sheet);
    history::undo(&mut sheet);
    let now = Lesson::of(&sheet, &book(), Some("pier")).unwrap();
    assert_eq!((now.colours.len(), now.light.as_str()), (1, "pier"));
    sheet.light = Some("quay".into());
    assert_eq!(Lesson::of(&sheet, &book(), None).unwrap().light, "quay");
}

/// Each in turn made unfit; without that the piece would be learned.
#[test]
fn a_piece_that_does_not_show_its_colour_is_left_out_and_why() {
    type Spoil = fn(&mut Sheet);
    let cases: [(Why, Spoil); 10] = [
        (Why::Spoilt(Spoilt::Lamp), |s| {
            s.pieces[0].spoilt = Some(vec![Spoilt::Lamp])
        }),
        (Why::Spoilt(Spoilt::CutOff), |s| {
            s.pieces[0].spoilt = Some(vec![Spoilt::CutOff])
        }),
        (Why::Spoilt(Spoilt::Shaded), |s| {
            s.pieces[0].spoilt = Some(vec![Spoilt::Shaded])
        }),
        (Why::Spoilt(Spoilt::Uneven), |s| {
            s.pieces[0].spoilt = Some(vec![Spoilt::Uneven])
        }),
        (Why::Covered, |s| s.pieces[0].covered = 0.2),
        (Why::Face, |s| s.pieces[0].face = "down".into()),
        (Why::Untold, |s| s.pieces[0].spoilt = None),
        (Why::NoColour, |s| s.pieces[0].lab = [4e9, 0.0, 0.0]),
        (Why::Photo, |s| {
            let (code, text) = ("too-dark".into(), String::new());
            s.warnings.push(crate::sheet::Warning { code, text });
        }),
        (Why::Far(30.0), |s| s.pieces[0].lab = [80.0, 0.0, 0.0]),
    ];
    let learned = |spoil: Spoil| {
        let mut sheet = sheet(&[(1, "fog", near(KELP))]);
        spoil(&mut sheet);
        is_called(&mut sheet, 1, "kelp");
        lesson(&sheet)
    };
    assert_eq!(learned(|_| {}).left_out, []);
    for (want, spoil) in cases {
        let lesson = learned(spoil);
        assert!(lesson.colours.is_empty(), "{want:?}");
        let same = match (want, lesson.left_out[0].why) {
            (Why::Far(_), Why::Far(off)) => off > FAR_DE00,
            (want, found) => want == found,
        };
        assert!(same, "{want:?}: {lesson:?}");
    }
}

#[test]
fn what_was_drawn_or_measured_as_another_shape_is_left_out() {
    let mut all = sheet(&[
        (1, "kelp", KELP),
        (2, "kelp", KELP),
        (3, "kelp", KELP),
        (4, "fog", KELP),
    ]);
    all.pieces[2].form = "any".into();
    all.pieces[3].doubts.push("could be a 2x3".into());
    all.pieces[3].instead = vec![Instead {
        form: "plate".into(),
        size: "2x3".into(),
        colour: "fog".into(),
        sure: 0.3,
    }];
    correct(&mut all, json!({ "what": "split", "id": 1, "cut": 0 }));
    correct(
        &mut all,
        json!({ "what": "change", "ids": [2], "size": "2x3" }),
    );
    // Which of the forms it is does not change how it was read.
    correct(
        &mut all,
        json!({ "what": "change", "ids": [3], "form": "plate" }),
    );
    correct(
        &mut all,
        json!({ "what": "recolour", "from": "fog", "to": "kelp" }),
    );
    let lesson = lesson(&all);
    assert_eq!([5, 6].map(|id| why(&lesson, id)), [Some(Why::Drawn); 2]);
    assert_eq!(why(&lesson, 2), Some(Why::Reshaped));
    assert_eq!(why(&lesson, 4), Some(Why::Open));
    assert_eq!(lesson.colours[0].pieces, [3]);
    assert!(!lesson.needs_a_look());
}

#[test]
fn a_slip_is_not_believed_and_gloss_is_no_slip() {
    let mut sheet = sheet(&[
        (1, "fog", near(KELP)),
        (2, "fog", RUST),
        (
            3,
            "fog",
            lab_from_linear(linear_from_lab(KELP).map(|v| v + 0.06)),
        ),
    ]);
    for id in 1..4 {
        is_called(&mut sheet, id, "kelp");
    }
    let lesson = lesson(&sheet);
    assert_eq!(lesson.colours[0].pieces, [1]);
    assert!(
        matches!(why(&lesson, 2), Some(Why::Far(off)) if off > 30.0),
        "{lesson:?}"
    );
    assert_eq!(why(&lesson, 3), Some(Why::Glossy));
    assert!(lesson.needs_a_look());
}

#[test]
fn a_new_name_is_told_and_must_look_like_one_colour() {
    let foam = [85.0, -2.0, 6.0];
    let mut sheet = sheet(&[
        (1, "fog", foam),
        (2, "fog", near(foam)),
        (3, "fog", KELP),
        (4, "fog", RUST),
        (5, "fog", KELP),
        (6, "white", foam),
    ]);
    for id in 1..4 {
        is_called(&mut sheet, id, "foam");
    }
    is_called(&mut sheet, 4, "either");
    is_called(&mut sheet, 5, "either");
    // A general name that nobody chose is not learned.
    correct(&mut sheet, json!({ "what": "accept", "ids": [6] }));
    let told = lesson(&sheet);
    let names: Vec<&str> = told.colours.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names, ["foam"]);
    assert_eq!(
        (told.colours[0].pieces.as_slice(), told.colours[0].new),
        (&[1, 2][..], true)
    );
    assert_eq!(
        [3, 4, 5, 6].map(|id| why(&told, id)),
        [Some(Why::Apart), Some(Why::Apart), Some(Why::Apart), None]
    );
    // Nearly a colour that is there already: perhaps a slip of the pen.
    is_called(&mut sheet, 5, "kepl");
    let told = lesson(&sheet);
    let typed = told
        .colours
        .iter()
        .find(|colour| colour.name == "kepl")
        .unwrap();
    let near = typed.near.as_ref().unwrap();
    assert_eq!((near.name.as_str(), near.de00), ("kelp", 0.0));
    assert!(told.needs_a_look());
}

#[test]
fn again_replaces_and_is_no_witness_of_itself() {
    let mut sheet = sheet(&[(1, "fog", [80.0, 0.0, 0.0])]);
    is_called(&mut sheet, 1, "foam");
    let mut book = book();
    let before = book.clone();
    let first = Lesson::of(&sheet, &book, None).unwrap();
    first.put_into(&mut book).unwrap();
    let after = book.clone();
    let again = Lesson::of(&sheet, &book, None).unwrap();
    assert_eq!(again, first);
    again.put_into(&mut book).unwrap();
    assert_eq!(book, after);
    // What it says no more is gone.
    is_called(&mut sheet, 1, "spray");
    Lesson::of(&sheet, &book, None)
        .unwrap()
        .put_into(&mut book)
        .unwrap();
    assert_eq!(book.names(), ["kelp", "rust", "spray"]);
    book.forget(&"c".repeat(64));
    assert_eq!(book, before);
}

/// A colour seen under a lamp's image only says nothing against a piece without one.
#[test]
fn a_lamp_is_no_witness() {
    let mut book = book();
    book.teach(Swatch {
        name: "tar".into(),
        samples: vec![[50.0, 0.0, 0.0]],
        light: "pier".into(),
        flaw: Some(Flaw::Lamp),
        from: None,
    })
    .unwrap();
    let mut sheet = sheet(&[(1, "fog", [20.0, 0.0, 0.0])]);
    is_called(&mut sheet, 1, "tar");
    let lesson = Lesson::of(&sheet, &book, None).unwrap();
    assert_eq!(
        (lesson.colours[0].name.as_str(), lesson.colours[0].new),
        ("tar", false)
    );
}

#[test]
fn a_sheet_without_a_hash_is_refused_with_a_sentence() {
    let mut sheet = sheet(&[(1, "fog", KELP)]);
    sheet.photos.first.hash = "12".into();
    let error = Lesson::of(&sheet, &book(), None).unwrap_err().to_string();
    assert!(error.contains("cup.jpg"), "{error}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, rng_seed: proptest::test_runner::RngSeed::Fixed(7), failure_persistence: None, ..ProptestConfig::default() })]
    /// Whatever a sheet says, each piece that was spoken of is either learned or left out, once; what is learned
    /// lies near to what is known.
    #[test]
    fn every_piece_is_answered_for(labs in prop::collection::vec([0.0..100.0f64, -60.0..60.0, -60.0..60.0], 1..12)) {
        let pieces: Vec<_> = labs.iter().zip(1..).map(|(lab, id)| (id, "fog", *lab)).collect();
        let mut sheet = sheet(&pieces);
        for (id, _, _) in &pieces {
            is_called(&mut sheet, *id, if id % 2 == 0 { "kelp" } else { "foam" });
        }
        let lesson = lesson(&sheet);
        let learned = lesson.colours.iter().flat_map(|c| c.pieces.iter().copied());
        let mut answered: Vec<u32> = learned.chain(lesson.left_out.iter().map(|l| l.piece)).collect();
        answered.sort_unstable();
        prop_assert_eq!(answered, pieces.iter().map(|p| p.0).collect::<Vec<_>>());
        for colour in lesson.colours.iter().filter(|c| c.name == "kelp") {
            prop_assert!(colour.samples.iter().all(|lab| de00(*lab, KELP) <= FAR_DE00));
        }
        let mut book = book();
        prop_assert!(lesson.put_into(&mut book).is_ok());
    }
}
