//! Which photos there are, which lessons serve which, and foreign ones in their own layout.

use std::fs;

use serde_json::{Value, json};

use crate::score::score;
use crate::set::{Folder, Kind, Photo};
use crate::{foreign, is, lessons, truth};

/// A truth as another renderer's program writes it.
fn foreign_truth(kind: &str, sub: Value, more: Value) -> Value {
    let mut truth = json!({
        "kind": kind, "sub": sub, "width": 2000, "height": 1500, "form_family": ["plate"],
        "grid_order": null, "light": { "name": "ceil:LED-B3" },
        "camera": {
            "f_px": 1000.0, "cx": 1000.0, "cy": 750.0, "position_mm": [0.0, 0.0, 500.0],
            "rows_right_down_forward": [[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]],
        },
        "pieces": [{
            "form": "plate", "size": "2x4", "colour": "rose", "face": "up",
            "centre_mm": [10.0, 20.0, 1.6], "centroid_px": [1020.0, 710.0], "visible_fraction": 0.4,
        }, {
            "form": "plate", "size": "2x4", "colour": "rose", "face": "up",
            "centre_mm": [-30.0, 20.0, 1.6], "centroid_px": null, "visible_fraction": 0.0,
        }],
    });
    let more = more.as_object().unwrap().clone();
    truth.as_object_mut().unwrap().extend(more);
    truth
}

fn foreign_folder(truths: &[(&str, Value)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, truth) in truths {
        let path = folder.path().join(format!("{name}.json"));
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, truth.to_string()).unwrap();
    }
    folder
}

fn by_name<'a>(photos: &'a [Photo], name: &str) -> &'a Photo {
    photos.iter().find(|p| p.name == name).unwrap()
}

#[test]
fn foreign_photos_are_read_in_their_own_layout() {
    let lesson = json!({ "grid_order": ["rose", "kelp"], "light": { "name": "window" } });
    let view = |letter: &str| json!({ "scene": "P1-04", "view": letter, "renderer": "Other" });
    let folder = foreign_folder(&[
        (
            "truth/K-01",
            foreign_truth("K", Value::Null, lesson.clone()),
        ),
        ("truth/T1-01", foreign_truth("T1", Value::Null, json!({}))),
        (
            "truth/E-03",
            foreign_truth("E", json!("cardhalf"), json!({})),
        ),
        ("views/truth/K-02a", foreign_truth("K", Value::Null, lesson)),
        (
            "views/truth/P1-04a",
            foreign_truth("P1", Value::Null, view("a")),
        ),
        (
            "views/truth/P1-04b",
            foreign_truth("P1", Value::Null, view("b")),
        ),
    ]);
    let photos = foreign::photos(folder.path()).unwrap();
    let sorted = by_name(&photos, "T1-01");
    assert_eq!(
        (sorted.folder, sorted.kind),
        (Folder::Foreign, Kind::Sorted)
    );
    assert_eq!(sorted.path.to_str(), Some("photos/T1-01.jpg"));
    assert_eq!(sorted.truth.form_argument(), "plate");
    assert_eq!(lessons::light(sorted), "ceil-led-b3");
    // Half a millimetre a pixel, and a piece without a pixel is in the picture, under others.
    assert!((sorted.truth.mm_per_px(10.0, 20.0) - 0.5).abs() < 1e-9);
    let f = score(&sorted.truth, None).figures;
    assert_eq!((f.pieces, f.hidden, f.half_visible), (2, 1, 0));

    let failing = by_name(&photos, "E-03");
    assert_eq!(failing.kind, Kind::Failing);
    assert!(failing.truth.failure.is_some());

    // Each set is taught from its own lessons, of which the first measures the printed card.
    let taught = |name| lessons::lessons(by_name(&photos, name), &photos);
    let names =
        |lessons: &[&Photo]| -> Vec<String> { lessons.iter().map(|l| l.name.clone()).collect() };
    assert_eq!(names(&taught("T1-01")), ["K-01"]);
    assert_eq!(names(&taught("views/P1-04a")), ["views/K-02a"]);
    assert!(lessons::measures_the_print(&taught("T1-01")));

    // One view stands for its scene.
    let poured = by_name(&photos, "views/P1-04b");
    assert_eq!(poured.path.to_str(), Some("views/photos/P1-04b.jpg"));
    assert_eq!(poured.truth.form_argument(), "any");
    assert!(by_name(&photos, "views/P1-04a").is_in_sum() && !poured.is_in_sum());
}

#[test]
fn a_foreign_kind_that_is_not_known_is_told_with_its_file() {
    let folder = foreign_folder(&[("truth/X-01", foreign_truth("X9", Value::Null, json!({})))]);
    let told = foreign::photos(folder.path()).err().unwrap().to_string();
    assert!(
        told.contains("X-01.json") && told.contains("'X9'"),
        "{told}"
    );
}

/// In a world with a name, all its lessons serve all its photos, and none of another's do.
#[test]
fn a_photo_is_counted_after_the_lessons_of_its_own_world() {
    let photo = |name: &str, kind, world: Option<&str>, light: &str| {
        let mut truth = truth(json!([is("1x1", "rose", 0.0, 0.0)]));
        truth.light = light.to_owned();
        truth.world = world.map(str::to_owned);
        if kind == Kind::Teach {
            truth.names = vec!["rose".to_owned()];
        }
        Photo {
            name: name.to_owned(),
            root: "/".into(),
            path: name.into(),
            folder: Folder::Check,
            kind,
            truth,
            further: None,
        }
    };
    let all = [
        photo("teach-daylight-1", Kind::Teach, None, "D65"),
        photo("teach-incandescent-1", Kind::Teach, None, "A"),
        photo("teach-spots-1", Kind::Teach, Some("cellar"), "spots"),
        photo("teach-day-1", Kind::Teach, Some("cellar"), "D65"),
        photo("old", Kind::Sorted, None, "FL2"),
        photo("new", Kind::Sorted, Some("cellar"), "FL2"),
    ];
    let taught = |name: &str| -> Vec<&str> {
        let lessons = lessons::lessons(by_name(&all, name), &all);
        lessons.iter().map(|l| l.name.as_str()).collect()
    };
    assert_eq!(taught("old"), ["teach-daylight-1"]);
    assert_eq!(taught("new"), ["teach-day-1", "teach-spots-1"]);
}
