#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
use super::super::look::tests::look;
use super::*;

fn swatch(name: &str, light: &str, lab: [f64; 3]) -> Swatch {
    Swatch {
        name: name.into(),
        samples: vec![lab],
        light: light.into(),
        flaw: None,
        from: None,
    }
}

/// The same as read from a counted photo, whose hash is a digit again and again.
fn learned(swatch: Swatch, digit: &str, named: bool) -> Swatch {
    let from = Origin {
        photo: digit.repeat(64),
        file: "cup.jpg".into(),
    };
    Swatch {
        light: if named {
            swatch.light
        } else {
            from.own_light()
        },
        from: Some(from),
        ..swatch
    }
}

fn book() -> SwatchBook {
    let mut book = SwatchBook::default();
    for (name, lab) in [
        ("lantern", [60.0, 50.0, 60.0]),
        ("kelp", [40.0, -30.0, 25.0]),
        ("moss", [44.0, -30.0, 29.0]),
    ] {
        book.teach(swatch(name, "boathouse", lab)).unwrap();
    }
    book
}

#[test]
fn a_second_light_stands_beside_and_the_same_light_replaces() {
    let mut book = book();
    book.teach(swatch("kelp", "pier", [43.0, -36.0, 22.0]))
        .unwrap();
    assert_eq!(book.lights(), ["boathouse", "pier"]);
    assert_eq!(book.names(), ["kelp", "lantern", "moss"]);
    book.teach(swatch("kelp", "pier", [30.0, 0.0, 0.0]))
        .unwrap();
    assert_eq!(book.swatches().len(), 4);
}

#[test]
fn what_photos_taught_stands_beside_and_is_forgotten_by_photo() {
    let mut book = book();
    let taught = book.clone();
    let kelp = || swatch("kelp", "boathouse", [41.0, -30.0, 25.0]);
    book.teach(learned(kelp(), "a", true)).unwrap();
    book.teach(learned(kelp(), "b", false)).unwrap();
    assert_eq!(book.swatches().len(), 5);
    // A photo in an unnamed light is no light of its own.
    assert_eq!(book.lights(), ["boathouse"]);
    // Again replaces, and does not touch what was taught.
    book.teach(learned(kelp(), "a", true)).unwrap();
    assert_eq!(book.swatches().len(), 5);
    let text = book.to_json().unwrap();
    assert_eq!(SwatchBook::from_json(&text).unwrap(), book);
    assert_eq!(book.origins().len(), 2);
    assert_eq!(book.forget(&"c".repeat(64)), []);
    assert_eq!(book.forget(&"a".repeat(64)).len(), 1);
    assert_eq!(book.forget(&"b".repeat(64)).len(), 1);
    assert_eq!(book, taught);
}

fn lesson(names: &[&str], lighter: f64) -> Lesson {
    Lesson {
        light: "pier".into(),
        swatches: (names.iter())
            .map(|name| swatch(name, "pier", [40.0, -30.0, 25.0]))
            .collect(),
        card: look(lighter),
        from: None,
        time: None,
    }
}

/// The same by a photo whose hash is a digit again and again.
fn by_photo(lesson: Lesson, digit: &str, light: &str) -> Lesson {
    let swatches = (lesson.swatches.into_iter()).map(|s| Swatch {
        light: light.into(),
        ..s
    });
    Lesson {
        light: light.into(),
        swatches: swatches.collect(),
        from: Some(Origin {
            photo: digit.repeat(64),
            file: "colours.jpg".into(),
        }),
        time: Some("2026-05-02T10:12:00Z".parse().unwrap()),
        ..lesson
    }
}

#[test]
fn a_photo_teaches_once_by_whatever_names() {
    let mut book = SwatchBook::default();
    let slip = by_photo(lesson(&["kelp", "mos"], 0.0), "a", "usual");
    let replaced = book.learn(&slip).unwrap();
    assert_eq!(replaced, Replaced::default());
    let right = by_photo(lesson(&["kelp", "moss"], 0.0), "a", "lamp");
    let replaced = book.learn(&right).unwrap();
    assert_eq!(replaced.lights, BTreeSet::from(["usual".to_owned()]));
    assert_eq!(replaced.gone, BTreeSet::from(["mos".to_owned()]));
    assert!(replaced.colours.is_empty());
    assert_eq!(
        (book.lights(), book.names()),
        (vec!["lamp"], vec!["kelp", "moss"])
    );
    let text = book.to_json().unwrap();
    assert_eq!(SwatchBook::from_json(&text).unwrap(), book);
    // Another photo in that light says what was there, and since when.
    let again = by_photo(lesson(&["kelp"], 0.0), "b", "lamp");
    let replaced = book.learn(&again).unwrap();
    assert_eq!(replaced.colours, [("kelp".to_owned(), right.time)]);
    assert!(replaced.lights.is_empty() && replaced.gone.is_empty());
}

#[test]
fn lights_in_which_the_card_looks_alike_are_one() {
    let mut book = SwatchBook::default();
    let first = by_photo(lesson(&["kelp", "moss"], 0.0), "a", "usual");
    let second = by_photo(lesson(&["kelp"], 0.8), "b", "lamp");
    book.learn(&first).unwrap();
    assert_eq!(book.light_alike(&second), Some("usual"));
    book.learn(&second).unwrap();
    assert!(!book.has_several_lights());
    let other = by_photo(lesson(&["kelp"], 9.0), "c", "window");
    assert_eq!(book.light_alike(&other), None);
    book.learn(&other).unwrap();
    assert!(book.is_in_several("kelp", &["usual", "lamp", "window"]));
    assert!(!book.is_in_several("kelp", &["usual", "lamp"]));
    assert!(book.has_several_lights());
}

#[test]
fn of_each_colour_the_card_is_kept_that_lay_beside_it_last() {
    let mut book = book();
    book.learn(&lesson(&["kelp", "moss"], 0.0)).unwrap();
    book.learn(&lesson(&["kelp"], 4.0)).unwrap();
    assert_eq!(book.card_beside("kelp", "pier"), Some(&look(4.0)));
    assert_eq!(book.card_beside("moss", "pier"), Some(&look(0.0)));
    // Taught without the card's look being kept.
    assert_eq!(book.card_beside("kelp", "boathouse"), None);
    let text = book.to_json().unwrap();
    assert_eq!(SwatchBook::from_json(&text).unwrap(), book);
    book.learn(&lesson(&["moss", "kelp"], 2.0)).unwrap();
    assert_eq!(book.seen.len(), 1);
}

#[test]
fn a_book_survives_its_file() {
    let text = book().to_json().unwrap();
    assert!(text.contains("\"swatches\": \"v1\""), "{text}");
    assert_eq!(SwatchBook::from_json(&text).unwrap(), book());
}

#[test]
fn broken_books_are_refused_with_a_sentence() {
    let with = |colours: &str| format!(r#"{{"swatches":"v1","colours":[{colours}]}}"#);
    let kelp = r#"{"name":"kelp","light":"pier","samples":[[40,-30,25]]}"#;
    for (text, part) in [
        (String::from("{"), "not a swatch book"),
        (
            r#"{"swatches":"v2","colours":[]}"#.into(),
            "not a swatch book",
        ),
        (with(&format!("{kelp},{kelp}")), "stands there twice"),
        (with(&kelp.replace("kelp", " ")), "no colour name"),
        (with(&kelp.replace("pier", "")), "no light name"),
        (
            with(&kelp.replace("kelp", "ke\u{200b}lp")),
            "colour name 'ke\u{fffd}lp'",
        ),
        (
            with(&kelp.replace("pier", "pi\\u001ber")),
            "light name 'pi\u{fffd}er'",
        ),
        (with(&kelp.replace("[40,-30,25]", "")), "no samples"),
        (with(&kelp.replace("40", "4000")), "no colour"),
        (
            format!(
                r#"{},"seen":[{{"light":"pier","colours":["kelp"],"card":{{"red":[900,0,0]}}}}]}}"#,
                with(kelp).trim_end_matches('}')
            ),
            "the card in light pier",
        ),
        (
            with(&kelp.replace('}', r#","from":{"photo":"12","file":"a.jpg"}}"#)),
            "without a hash",
        ),
    ] {
        let error = SwatchBook::from_json(&text).unwrap_err().to_string();
        assert!(error.contains(part), "{text}: {error}");
    }
    SwatchBook::from_json(&with(kelp)).unwrap();
}
