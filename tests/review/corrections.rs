//! Whatever is corrected, in whatever order: undo goes all the way back, redo all the
//! way forward, and groups follow from pieces.

use std::collections::BTreeMap;

use cuptally::pieces::Shapes;
use cuptally::review::correction::{Correction, Draft};
use cuptally::review::history::{guess_of, record, redo, undo};
use cuptally::review::resolve::{Unsigned, resolve};
use cuptally::review::totals::is_open;
use cuptally::review::tray::Tray;
use cuptally::sheet::Sheet;
use cuptally::sheet::review::{Step, What};
use proptest::prelude::*;

use crate::sheets;

fn signed(step: Unsigned) -> Step {
    Step {
        what: step.what,
        who: "mara".to_owned(),
        time: "2026-05-02T10:12:00Z".parse().unwrap(),
        from: step.from,
        to: step.to,
        settled: step.settled,
        count: step.count,
        place: step.place,
    }
}

/// A correction by dice; ids and names that are there and some that are not.
fn correction() -> impl Strategy<Value = Correction> {
    let id = 1_u32..26;
    let size = prop::sample::select(vec!["1x1", "1x2", "2x4", "2x2", "1x8", "9x9"]);
    let colour = prop::sample::select(vec!["kelp", "rope", "tar", "charcoal", "fog"]);
    let word = |text: &str| text.to_owned();
    prop_oneof![
        prop::collection::vec(id.clone(), 0..4).prop_map(|ids| Correction::Accept {
            ids,
            spots: vec![],
            together: true,
        }),
        (0_usize..3).prop_map(|spot| Correction::Accept {
            ids: vec![],
            spots: vec![spot],
            together: true,
        }),
        (
            id.clone(),
            prop::option::of(size.clone()),
            prop::option::of(colour.clone())
        )
            .prop_map(move |(id, size, colour)| {
                Correction::Change {
                    ids: vec![id],
                    form: None,
                    size: size.map(word),
                    colour: colour.map(word),
                    face: None,
                }
            }),
        prop::collection::vec(id.clone(), 1..3).prop_map(|ids| Correction::Remove { ids }),
        (id.clone(), 0_usize..3).prop_map(|(id, cut)| Correction::Split { id, cut }),
        (id.clone(), id).prop_map(|(a, b)| Correction::Join { ids: [a, b] }),
        (colour.clone(), colour.clone()).prop_map(move |(from, to)| Correction::Recolour {
            from: word(from),
            to: word(to)
        }),
        (size.clone(), colour.clone(), prop::option::of(0_u32..50)).prop_map(
            move |(size, colour, count)| Correction::Count {
                form: word("plate"),
                size: word(size),
                colour: word(colour),
                count,
                reason: word("pile"),
            }
        ),
        (
            size,
            colour,
            -100.0..300.0_f64,
            -300.0..200.0_f64,
            0.0..360.0_f64
        )
            .prop_map(
                move |(size, colour, x_mm, y_mm, turn_deg)| Correction::Add {
                    piece: Draft {
                        form: word("plate"),
                        size: word(size),
                        colour: word(colour),
                        face: word("up"),
                        x_mm,
                        y_mm,
                        turn_deg,
                        lab: None
                    },
                    spot: None,
                }
            ),
    ]
}

/// Everything but the steps themselves.
fn state(sheet: &Sheet) -> impl PartialEq + std::fmt::Debug + use<> {
    let counts = sheet.review.as_ref().map(|review| review.counts.clone());
    (
        sheet.pieces.clone(),
        sheet.groups.clone(),
        sheet.unexplained.clone(),
        sheet.place.clone(),
        counts.unwrap_or_default(),
    )
}

/// A slow, obvious twin of the group's best number: pieces counted one by one, numbers
/// set outright put in.
fn counted(sheet: &Sheet) -> BTreeMap<(String, String, String), u32> {
    let mut numbers = BTreeMap::new();
    for piece in &sheet.pieces {
        *numbers
            .entry((piece.form.clone(), piece.size.clone(), piece.colour.clone()))
            .or_default() += 1;
    }
    for set in sheet.review.iter().flat_map(|review| &review.counts) {
        numbers.insert(
            (set.form.clone(), set.size.clone(), set.colour.clone()),
            set.count,
        );
    }
    numbers.retain(|_, count| *count > 0);
    numbers
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 40,
        rng_algorithm: prop::test_runner::RngAlgorithm::ChaCha,
        rng_seed: prop::test_runner::RngSeed::Fixed(6),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]
    #[test]
    fn undo_goes_all_the_way_back_and_redo_forward(corrections in prop::collection::vec(correction(), 1..25)) {
        let mut sheet = START.clone();
        let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
        let before = state(&sheet);
        let mut states = vec![];
        for correction in &corrections {
            if let Ok(step) = resolve(&sheet, Some(&tray), Shapes::shipped(), correction) {
                record(&mut sheet, signed(step));
                states.push(state(&sheet));
                // Ids are never used twice.
                let mut ids: Vec<u32> = sheet.pieces.iter().map(|p| p.id).collect();
                ids.sort_unstable();
                ids.dedup();
                prop_assert_eq!(ids.len(), sheet.pieces.len());
                let numbers: BTreeMap<_, _> = sheet.groups.iter().filter(|g| g.count > 0)
                    .map(|g| ((g.form.clone(), g.size.clone(), g.colour.clone()), g.count)).collect();
                prop_assert_eq!(numbers, counted(&sheet));
                prop_assert!(sheet.groups.iter().all(|g| g.low <= g.count && g.count <= g.high));
                prop_assert!(sheet.pieces.iter().all(|p| !p.looked_at || (p.sure == 1.0 && !is_open(p))));
                // As it would come back from the disk.
                let text = serde_json::to_string(&sheet).unwrap();
                prop_assert_eq!(&serde_json::from_str::<Sheet>(&text).unwrap(), &sheet);
            }
        }
        prop_assert_eq!(&guess_of(&sheet).pieces, &START.pieces);
        let end = sheet.clone();
        for back in (0..states.len()).rev() {
            prop_assert!(undo(&mut sheet));
            if back > 0 {
                prop_assert_eq!(&state(&sheet), &states[back - 1]);
            }
        }
        prop_assert!(!undo(&mut sheet));
        prop_assert_eq!(&state(&sheet), &before);
        for forward in &states {
            prop_assert!(redo(&mut sheet));
            prop_assert_eq!(&state(&sheet), forward);
        }
        prop_assert!(!redo(&mut sheet));
        prop_assert_eq!(sheet, end);
    }
}

static START: std::sync::LazyLock<Sheet> = std::sync::LazyLock::new(|| {
    let mut sheet = sheets::sheet("plates-sorted-d50-42", 22, 6, false);
    sheet.unexplained = vec![sheets::spot(400.0, 400.0), sheets::spot(900.0, 1300.0)];
    sheet
});

/// Renaming a colour settles pieces whose only doubt was their colour, and no others.
#[test]
fn a_colours_real_name_settles_only_doubts_about_colour() {
    let mut sheet = START.clone();
    let colour = sheet.pieces[0].colour.clone();
    let ids: Vec<u32> = sheet
        .pieces
        .iter()
        .filter(|p| p.colour == colour && is_open(p))
        .map(|p| p.id)
        .collect();
    assert!(!ids.is_empty());
    let mut shaped = sheet.pieces[0].clone();
    shaped.id = 99;
    shaped
        .doubts
        .push("outline not clear all around".to_owned());
    sheet.pieces.push(shaped);
    let tray = Tray::of(&sheet, Shapes::shipped()).unwrap();
    let correction = Correction::Recolour {
        from: colour,
        to: "tide-line".to_owned(),
    };
    let step = resolve(&sheet, Some(&tray), Shapes::shipped(), &correction).unwrap();
    record(&mut sheet, signed(step));
    for piece in &sheet.pieces {
        if ids.contains(&piece.id) {
            assert!(piece.looked_at && piece.colour == "tide-line");
        } else if piece.id == 99 {
            assert!(is_open(piece) && piece.colour == "tide-line");
            assert_eq!(piece.doubts, ["outline not clear all around"]);
        } else {
            assert!(!piece.looked_at);
        }
    }
    assert_eq!(sheet.review.unwrap().steps[0].what, What::Recolour);
}
