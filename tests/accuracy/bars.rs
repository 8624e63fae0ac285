//! What is held: the record, the bests beside it, and what the page says of both.

use std::fs;

use crate::record::{self, Record};
use crate::set::{Folder, Kind};
use crate::{best, check, summary, truth};

/// Makes a photo's figures worse.
type Harm = dyn Fn(&mut record::Measured);

fn recorded() -> Record {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/accuracy.json");
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// What is recorded is not worse than itself; each planted loss is found.
#[test]
fn what_got_worse_is_found() {
    let before = recorded();
    assert_eq!(check::worse(&before, &before, true), Vec::<String>::new());
    let planted: [(&str, &Harm); 8] = [
        ("plates-sorted-d50-42", &|m| m.figures.sure_wrong += 1),
        ("dumped-mixed-d65-180", &|m| {
            m.figures.groups_sure_wrong += 1
        }),
        ("plates-sorted-d50-42", &|m| m.figures.missed += 1),
        ("plates-touching-d65-58", &|m| m.figures.missed += 2),
        ("poured-mixed-d50-90", &|m| {
            m.refused = Some("no".to_owned())
        }),
        // Not warned of, and not counted rightly either.
        ("failing-half-a-card-36", &|m| {
            m.warnings.clear();
            m.figures.group_error += 1;
        }),
        // Photos made to fail have bars of their own, whatever is recorded.
        ("failing-half-a-card-36", &|m| m.figures.sure_wrong = 1),
        ("failing-half-a-card-36", &|m| {
            m.warnings = vec!["untaught".to_owned()];
            m.figures.group_error += 1;
        }),
    ];
    for (name, harm) in planted {
        let mut now = before.clone();
        harm(now.photos.get_mut(name).unwrap());
        let found = check::worse(&before, &now, false);
        assert!(
            found.iter().any(|fault| fault.starts_with(name)),
            "{name}: {found:?}"
        );
    }
    let mut now = before.clone();
    for photo in now.photos.values_mut() {
        photo.figures.ranges_hold = photo.figures.ranges_hold * 9 / 10;
    }
    assert!(!check::worse(&before, &now, true).is_empty());
    now.photos.remove("plates-sorted-d50-42");
    let all = check::worse(&before, &now, true);
    assert!(all.iter().any(|fault| fault.contains("no longer there")));
}

/// The record beside itself in a worse state.
fn worse(before: &Record, photo: &str, harm: impl Fn(&mut record::Measured)) -> Record {
    let mut now = before.clone();
    harm(now.photos.get_mut(photo).unwrap());
    now.measured = "2099-01-01".to_owned();
    now
}

/// A figure below its best needs a reason, keeps it, and needs another where it falls further.
#[test]
fn a_figure_falls_only_with_a_written_reason() {
    const PHOTO: &str = "plates-touching-d65-58";
    let mut first = recorded();
    first.best.clear();
    let blank = first.clone();
    assert_eq!(
        best::carry_on(&blank, &mut first, None),
        Vec::<String>::new()
    );
    let lose = |number| move |m: &mut record::Measured| m.figures.sure -= number;
    let of = |record: &Record| record.best[&Folder::Tune]["touching"].figures["sure"].clone();
    let best = of(&first);

    let mut fallen = worse(&first, PHOTO, lose(20));
    let faults = best::carry_on(&first, &mut fallen, None);
    assert!(
        faults
            .iter()
            .any(|f| f.starts_with("touching of tune: sure")),
        "{faults:?}"
    );

    assert_eq!(
        best::carry_on(&first, &mut fallen, Some("a trade")),
        Vec::<String>::new()
    );
    let fell = of(&fallen);
    assert_eq!((fell.value, &fell.measured), (best.value, &best.measured));
    assert_eq!(fell.fell.unwrap().because, "a trade");

    // The same again needs no new reason; a deeper fall does.
    let mut same = fallen.clone();
    assert_eq!(
        best::carry_on(&fallen, &mut same, None),
        Vec::<String>::new()
    );
    assert_eq!(of(&same), of(&fallen));
    let mut deeper = worse(&fallen, PHOTO, lose(20));
    assert!(!best::carry_on(&fallen, &mut deeper, None).is_empty());

    // Back at the best, the reason goes; above it, the best is the new figure.
    let mut back = worse(&fallen, PHOTO, |m| m.figures.sure += 20);
    assert_eq!(
        best::carry_on(&fallen, &mut back, None),
        Vec::<String>::new()
    );
    assert_eq!(of(&back), best);
    let mut better = worse(&back, PHOTO, |m| m.figures.sure += 3);
    assert_eq!(
        best::carry_on(&back, &mut better, None),
        Vec::<String>::new()
    );
    assert!(of(&better).value > best.value && of(&better).measured == "2099-01-01");

    // A file from which the reason was taken is found, and other photos begin anew.
    let mut edited = fallen.clone();
    for line in edited
        .best
        .values_mut()
        .flat_map(|lines| lines.values_mut())
    {
        line.figures.values_mut().for_each(|best| best.fell = None);
    }
    assert!(!best::unexplained(&edited).is_empty());
    let mut others = fallen.clone();
    let photo = others.photos.remove(PHOTO).unwrap();
    others.photos.insert(format!("{PHOTO}-again"), photo);
    assert_eq!(
        best::carry_on(&first, &mut others, None),
        Vec::<String>::new()
    );
}

/// Whose folder of foreign photos is not at hand is not asked for them.
#[test]
fn foreign_photos_may_be_left_out() {
    let mut before = recorded();
    before
        .photos
        .retain(|_, photo| photo.folder != Folder::Foreign);
    let mut photo = before.photos["plates-sorted-d50-42"].clone();
    photo.folder = Folder::Foreign;
    before.photos.insert("T1-01".to_owned(), photo);
    let mut now = before.clone();
    now.photos.retain(|_, m| m.folder != Folder::Foreign);
    assert_eq!(check::worse(&before, &now, true), Vec::<String>::new());
    // Some of them are not enough.
    let other = before.photos["T1-01"].clone();
    now.photos.insert("T1-02".to_owned(), other.clone());
    before.photos.insert("T1-02".to_owned(), other);
    assert_eq!(check::worse(&before, &now, true).len(), 1);
}

/// Views of one scene stand in lines of their own, and the first alone in the sums.
#[test]
fn views_are_told_one_by_one() {
    let mut record = recorded();
    record
        .photos
        .retain(|name, _| name == "poured-mixed-d50-90");
    let photo = record.photos["poured-mixed-d50-90"].clone();
    for (letter, renderer) in [("a", "mitsuba"), ("b", "cycles")] {
        let mut view = photo.clone();
        view.renderer = Some(renderer.to_owned());
        view.view = Some(truth::View {
            scene: "poured".to_owned(),
            view: letter.to_owned(),
        });
        record.photos.insert(format!("poured-{letter}"), view);
    }
    let names = |lines: Vec<record::Line>| -> Vec<(String, u32)> {
        lines
            .into_iter()
            .map(|l| (l.name, l.figures.photos))
            .collect()
    };
    let two = |name: &str, photos| (name.to_owned(), photos);
    assert_eq!(
        names(record.lines(Folder::Tune)),
        [two("poured", 2), two("all but failing", 2)]
    );
    assert_eq!(
        names(record.lines_by_view(Folder::Tune)),
        [two("poured, view a", 1), two("poured, view b", 1)]
    );
}

/// The page begins with what carries over and what does not, by the figures.
#[test]
fn what_carries_over_is_told_by_the_figures() {
    let mut record = recorded();
    record.photos.retain(|_, m| m.folder == Folder::Check);
    record.reliability.remove(&Folder::Foreign);
    assert!(summary::carries_over(&record).contains("was not measured"));
    for (name, photo) in record.photos.clone() {
        let mut foreign = photo;
        foreign.folder = Folder::Foreign;
        if foreign.kind == Kind::Dumped {
            foreign.figures.total_error = foreign.figures.pieces / 2;
        }
        record.photos.insert(format!("foreign-{name}"), foreign);
    }
    let told = summary::carries_over(&record);
    let (over, not) = told.split_once("does not carry over").unwrap();
    assert!(over.contains("stand apart: error of the count"), "{told}");
    assert!(!over.contains("heaps: error of the count"), "{told}");
    let heaps = not
        .lines()
        .find(|line| line.contains("heaps: error of the count"))
        .unwrap_or_else(|| panic!("{told}"));
    assert!(heaps.ends_with(", foreign 50.0 %"), "{told}");
}
