//! The list of shapes through the real program: what it shows, what users add, and what is
//! counted by it.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::{Value, json};
use tempfile::TempDir;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// Runs the program in a home; gives exit code, stdout and stderr.
fn run(home: &TempDir, args: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("cuptally")
        .unwrap()
        .env_remove("CUPTALLY_HOME")
        .current_dir(ROOT)
        .arg("--home")
        .arg(home.path())
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

/// A home with these shapes of the user's own.
fn home_with(list: &Value) -> TempDir {
    let home = TempDir::new().unwrap();
    fs::create_dir(home.path().join("calibration")).unwrap();
    fs::write(
        home.path().join("calibration/shapes.json"),
        serde_json::to_vec_pretty(list).unwrap(),
    )
    .unwrap();
    home
}

/// The example in docs/counting.md.
fn example() -> Value {
    let page = fs::read_to_string(Path::new(ROOT).join("docs/counting.md")).unwrap();
    let from = page.find("{ \"shapes\": \"v1\"").unwrap();
    let text = &page[from..];
    serde_json::from_str(&text[..text.find("```").unwrap()]).unwrap()
}

#[test]
fn the_list_is_shown_with_what_users_add() {
    let (code, out, _) = run(&TempDir::new().unwrap(), &["shapes"]);
    assert_eq!(code, 0);
    assert!(
        out.contains("corner") && out.contains("shapes of your own go into"),
        "{out}"
    );
    let home = home_with(&example());
    let (code, out, _) = run(&home, &["shapes", "--json"]);
    assert_eq!(code, 0);
    let all: Vec<Value> = serde_json::from_str(&out).unwrap();
    let own: Vec<&Value> = all.iter().filter(|one| one["own"] == true).collect();
    assert_eq!((all.len(), own.len()), (57 + 4, 4));
    // By hand: 8 studs are 63.8 mm, and its square 4070.4 mm2.
    let large = own.iter().find(|one| one["size"] == "8x8").unwrap();
    assert_eq!(
        (&large["long_mm"], &large["area_mm2"]),
        (&json!(63.8), &json!(4070.4))
    );
    let (_, out, _) = run(&home, &["shapes"]);
    assert!(
        out.contains("left wing") && out.contains("4 shapes of your own"),
        "{out}"
    );
}

#[test]
fn the_schema_takes_what_the_program_takes() {
    let text = fs::read_to_string(Path::new(ROOT).join("docs/shapes-v1.schema.json")).unwrap();
    let schema: Value = serde_json::from_str(&text).unwrap();
    let schema = jsonschema::validator_for(&schema).unwrap();
    let shipped = fs::read_to_string(Path::new(ROOT).join("src/pieces/shapes.json")).unwrap();
    let shipped: Value = serde_json::from_str(&shipped).unwrap();
    assert!(schema.is_valid(&example()) && schema.is_valid(&shipped));
    for (at, value) in [
        ("/shapes", json!("v2")),
        ("/pieces/0/sizes/0", json!("2 x 10")),
        ("/pieces/0/height_mm", json!(0)),
        ("/pieces/1/outline", json!("oval")),
        ("/pieces/1/form", json!("any")),
    ] {
        let mut broken = example();
        *broken.pointer_mut(at).unwrap() = value;
        assert!(!schema.is_valid(&broken), "{at}");
        let (code, out, err) = run(&home_with(&broken), &["shapes"]);
        assert_eq!((code, out.as_str()), (1, ""), "{at}");
        assert!(
            err.contains("shapes.json") && err.lines().count() == 1,
            "{err}"
        );
    }
}

/// Pieces of a photo's truth or of a count, by form.
fn of_form(pieces: &Value, form: &str) -> usize {
    let pieces = pieces["pieces"].as_array().unwrap();
    pieces.iter().filter(|piece| piece["form"] == form).count()
}

/// The photo holds corners; here the program knows them by a name of the user's alone.
#[test]
fn a_shape_of_the_users_own_is_counted() {
    let photo = "sample-photos/tune/shapes-sorted-d65-44";
    let truth = fs::read_to_string(Path::new(ROOT).join(format!("{photo}.json"))).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let there = of_form(&truth, "corner");
    assert!(there > 3);
    let home = home_with(&json!({ "shapes": "v1", "pieces": [{
        "form": "knee", "sizes": ["2x2"], "height_mm": 3.2,
        "outline": [[0, 0], [2, 0], [2, 2], [1, 2], [1, 1], [0, 1]],
        "studs": [[0.5, 0.5], [1.5, 0.5], [1.5, 1.5]]
    }]}));
    let jpg = format!("{photo}.jpg");
    let (_, out, err) = run(
        &home,
        &["count", &jpg, "--expect", "knee, plate, round", "--json"],
    );
    let sheets: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
    assert_eq!(of_form(&sheets[0], "knee"), there, "{err}");
    let (code, _, err) = run(&home, &["count", &jpg, "--form", "roof"]);
    assert_eq!(code, 2);
    assert!(
        err.contains("tile, corner, round, knee, or say 'any'"),
        "{err}"
    );
}

/// The photo holds plates, apart; here the program knows them by a name of the user's alone, and edges have to
/// find them: rectangles as the net was taught, but no form that it knows.
#[test]
fn a_rectangle_of_the_users_own_is_counted_and_sure() {
    let photo = "sample-photos/tune/plates-sorted-d65-window-48";
    let truth = fs::read_to_string(Path::new(ROOT).join(format!("{photo}.json"))).unwrap();
    let truth: Value = serde_json::from_str(&truth).unwrap();
    let mut sizes: Vec<&str> = (truth["pieces"].as_array().unwrap().iter())
        .map(|piece| piece["size"].as_str().unwrap())
        .collect();
    sizes.sort_unstable();
    sizes.dedup();
    let home = home_with(&json!({ "shapes": "v1", "pieces": [{
        "form": "paver", "sizes": sizes, "height_mm": 3.2, "studs": "all"
    }]}));
    let jpg = format!("{photo}.jpg");
    let (_, out, err) = run(&home, &["count", &jpg, "--form", "paver", "--json"]);
    let sheets: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
    let place = |piece: &Value| [&piece["x_mm"], &piece["y_mm"]].map(|v| v.as_f64().unwrap());
    let found: Vec<bool> = (sheets[0]["pieces"].as_array().unwrap().iter())
        .filter(|piece| piece["form"] == "paver" && piece["sure"].as_f64() >= Some(0.9))
        .map(|piece| {
            let [x, y] = place(piece);
            truth["pieces"].as_array().unwrap().iter().any(|is| {
                let [is_x, is_y] = place(is);
                (x - is_x).hypot(y - is_y) < 4.0 && is["size"] == piece["size"]
            })
        })
        .collect();
    // 44 of 48 when this was written; none of them wrong.
    assert!(found.len() >= 40, "{} sure", found.len());
    assert!(found.iter().all(|right| *right));
}
