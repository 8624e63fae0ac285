//! `count --expect` through the real program: what it looks for and what it refuses.

use std::collections::BTreeMap;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;
use tempfile::TempDir;

const PHOTO: &str = "sample-photos/tune/plates-sorted-d50-42";

/// Runs `count` on the photo; gives exit code, stdout and stderr.
fn count(args: &[&str]) -> (i32, String, String) {
    count_photo(PHOTO, args)
}

/// The same with another photo.
fn count_photo(photo: &str, args: &[&str]) -> (i32, String, String) {
    let home = TempDir::new().unwrap();
    let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("{photo}.jpg"));
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .env_remove("CUPTALLY_HOME")
        .arg("--home")
        .arg(home.path())
        .arg("count")
        .arg(photo)
        .args(args)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// How many of each form and size.
fn by_shape<'a>(pieces: impl Iterator<Item = &'a Value>) -> BTreeMap<String, usize> {
    let mut shapes = BTreeMap::new();
    for piece in pieces {
        let name = format!(
            "{} {}",
            piece["form"].as_str().unwrap(),
            piece["size"].as_str().unwrap()
        );
        *shapes.entry(name).or_default() += 1;
    }
    shapes
}

/// What is counted with these expectations.
fn counted(expect: &str) -> BTreeMap<String, usize> {
    let (_, out, err) = count(&["--json", "--expect", expect]);
    let sheets: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
    by_shape(sheets[0]["pieces"].as_array().unwrap().iter())
}

#[test]
fn only_what_is_expected_is_counted() {
    let truth = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("{PHOTO}.json"));
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(truth).unwrap()).unwrap();
    let there = by_shape(truth["pieces"].as_array().unwrap().iter());
    // All that is there, and nothing that is not, without a word of the form.
    let list: Vec<&str> = there.keys().map(String::as_str).collect();
    assert_eq!(counted(&list.join(", ")), there);
    // Less than is there: nothing else is ever said.
    let few = counted("2x4 plate,plate 1x2");
    assert!(few["plate 2x4"] >= there["plate 2x4"]);
    assert!(
        few.keys()
            .all(|name| name == "plate 2x4" || name == "plate 1x2"),
        "{few:?}"
    );
}

/// The sheet's sure pieces, and whether it warns that the list does not fit.
fn sure_and_warned(sheet: &Value) -> (Vec<Value>, bool) {
    let pieces = sheet["pieces"].as_array().unwrap().iter();
    let sure = pieces.filter(|piece| piece["sure"].as_f64().unwrap() >= 0.9);
    let mut warnings = sheet["warnings"].as_array().unwrap().iter();
    let warned = warnings.any(|warning| warning["code"] == "list-unlike");
    (sure.cloned().collect(), warned)
}

/// Plates between an easy light and a warm lamp: no brick among them, whatever was asked for.
#[test]
fn a_form_that_is_not_there_is_never_sure() {
    for photo in [PHOTO, "sample-photos/tune/plates-sorted-led-b1-64"] {
        let sheet = |form: &str| -> Value {
            let (_, out, err) = count_photo(photo, &["--json", "--form", form]);
            let sheets: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
            sheets[0].clone()
        };
        let (sure, warned) = sure_and_warned(&sheet("brick"));
        assert!(sure.is_empty() && warned, "{photo}: {warned} {sure:?}");
        let plates = sheet("plate");
        let (sure, warned) = sure_and_warned(&plates);
        let all = plates["pieces"].as_array().unwrap().len();
        assert!(
            2 * sure.len() > all && !warned,
            "{photo}: {warned} {sure:?}"
        );
    }
}

#[test]
fn a_list_that_leaves_out_much_is_warned_of_and_makes_nothing_else_sure() {
    let truth = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("{PHOTO}.json"));
    let truth: Value = serde_json::from_str(&std::fs::read_to_string(truth).unwrap()).unwrap();
    let there = by_shape(truth["pieces"].as_array().unwrap().iter());
    let (_, out, err) = count(&["--json", "--expect", "plate 2x4,plate 1x2"]);
    let sheets: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
    let (sure, warned) = sure_and_warned(&sheets[0]);
    assert!(warned && !sure.is_empty());
    for (name, number) in by_shape(sure.iter()) {
        assert!(number <= there[&name], "{number} of {name} are sure");
    }
}

#[test]
#[ignore = "reads many photos"]
fn a_file_says_the_same_as_words() {
    let folder = TempDir::new().unwrap();
    let file = |name: &str, text: &str| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path.to_string_lossy().into_owned()
    };
    let words = counted("plate 2x4,plate 1x2");
    assert!(!words.is_empty());
    for (name, text) in [
        (
            "a.txt",
            "# what the cup can hold\nplate 2x4  # the long ones\n\n1x2 plate\n",
        ),
        ("b.txt", "\u{feff}plate 2x4, plate 1x2"),
        (
            "c.json",
            r#"["plate 2x4", {"form": "plate", "size": "1x2", "colour": "tar"}]"#,
        ),
    ] {
        assert_eq!(counted(&file(name, text)), words, "{name}");
    }
    for (name, text, word) in [
        (
            "d.txt",
            "plate 2x4\nroof 2x4\n",
            "line 2: 'roof 2x4' is no piece",
        ),
        ("e.txt", "# nothing\n", "lists no piece"),
        ("f.json", "[\"plate 2x4\"", "not a list of pieces"),
    ] {
        let (code, out, err) = count(&["--expect", &file(name, text)]);
        assert_eq!((code, out.as_str()), (1, ""), "{err}");
        assert!(err.contains(word) && err.contains(name), "{err}");
    }
}

#[test]
fn what_is_no_piece_is_refused() {
    let other = ["--form", "brick", "--expect", "tile 1x2"];
    for (args, word) in [
        (&["--expect", "roof"][..], "'roof' is no piece"),
        (&["--expect", "2x4,,1x2"], "'' is no piece"),
        (&["--expect", "plate 2x9"], "there is no plate 2x9"),
        (&["--expect", "plate 2.4"], "'plate 2.4' is no piece"),
        (&["--expect", "nofile.txt"], "there is no file nofile.txt"),
        (&["--expect", "lists/cup"], "there is no file lists/cup"),
        (&["--expect", "/"], "/ is a folder"),
        (
            &other,
            "'tile 1x2' is expected, but --form asks for other forms",
        ),
    ] {
        let (code, out, err) = count(args);
        assert_eq!((code, out.as_str()), (2, ""), "{err}");
        assert!(err.contains(word), "'{word}' is not in: {err}");
    }
}

#[test]
fn plurals_and_taught_colours_are_taken_and_slips_are_asked_about() {
    let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-photos/tune/empty-tray-0.jpg");
    let home = TempDir::new().unwrap();
    std::fs::create_dir(home.path().join("calibration")).unwrap();
    let book =
        r#"{"swatches":"v1","colours":[{"name":"sea fog","light":"lamp","samples":[[70,0,0]]}]}"#;
    std::fs::write(home.path().join("calibration/swatches.json"), book).unwrap();
    let run = |args: &[&str]| {
        let output = Command::cargo_bin("cuptally")
            .unwrap()
            .arg("--home")
            .arg(home.path())
            .arg("count")
            .arg(&photo)
            .args(args)
            .output()
            .unwrap();
        let text = String::from_utf8(output.stderr).unwrap();
        (output.status.code().unwrap(), text)
    };
    let (code, said) = run(&["--expect", "plates 2x4, 2x4 sea fog, sea fog tiles"]);
    assert!(code != 1 && code != 2, "{said}");
    assert!(said.contains("--expect goes by form and size"), "{said}");
    assert_ne!(run(&["--form", "plates", "--expect", "2x4"]).0, 2);
    for (args, words) in [
        (["--form", "plat"], "did you mean 'plate'?"),
        (["--expect", "plat 2x4"], "did you mean 'plate 2x4'?"),
        (["--expect", "2x4 see fog"], "is no piece"),
        (["--grams", "28 kilos"], "'28 kilos' is no number"),
    ] {
        let (code, said) = run(&args);
        assert!(code == 2 && said.contains(words), "{args:?}: {said}");
    }
    for grams in ["28g", "28,5 grams", "28.5 G"] {
        let (code, said) = run(&["--grams", grams]);
        assert!(code != 1 && code != 2, "{grams}: {said}");
    }
}
