//! What the page does is what the commands do.

use std::fs;

use serde_json::{Value, json};

use crate::home::{Desk, photo, run};

/// The same changes by the page and by the command line: the stock files are the same, byte for byte.
#[test]
fn the_stock_changes_as_by_the_commands() {
    let desk = Desk::open();
    let other = tempfile::tempdir().unwrap();
    for (ask, args) in [
        (
            json!({ "do": "put", "pieces": ["20 plate 2x4 kelp", "3 brick 2x2 fog"], "place": "cup 1", "note": "found" }),
            &[
                "stock",
                "put",
                "--place",
                "cup 1",
                "--note",
                "found",
                "20 plate 2x4 kelp",
                "3 brick 2x2 fog",
            ][..],
        ),
        (
            json!({ "do": "take", "pieces": ["8 plate 2x4 kelp"], "from": "cup 1" }),
            &["stock", "take", "--from", "cup 1", "8 plate 2x4 kelp"],
        ),
        (
            json!({ "do": "move", "pieces": ["brick 2x2 fog"], "from": "cup 1", "to": "drawer" }),
            &[
                "stock",
                "move",
                "--from",
                "cup 1",
                "--to",
                "drawer",
                "brick 2x2 fog",
            ],
        ),
        (
            json!({ "do": "rename", "what": "place", "old": "drawer", "new": "drawer 2" }),
            &["stock", "rename", "place", "drawer", "drawer 2"],
        ),
        (json!({ "do": "undo", "entry": 2 }), &["stock", "undo", "2"]),
    ] {
        desk.ask(&ask);
        run(other.path(), args);
    }
    let stock = |home: &std::path::Path| fs::read_to_string(home.join("stock.json")).unwrap();
    assert_eq!(stock(desk.home.path()), stock(other.path()));
    let shown = desk.ask(&json!({ "do": "stock", "by": "place" }));
    let told: Value =
        serde_json::from_str(&run(other.path(), &["stock", "--json", "--by", "place"])).unwrap();
    assert_eq!(shown, told);
    // And what the command line does is seen.
    run(
        desk.home.path(),
        &["stock", "put", "--place", "cup 3", "1 tile 1x1 fog"],
    );
    assert_eq!(
        desk.state()["places"],
        json!(["cup 1", "cup 3", "drawer 2"])
    );
}

#[test]
fn what_cannot_be_done_is_said_as_the_command_says_it() {
    let desk = Desk::open();
    let ask = |what: Value| desk.server.post("api/ask", &what);
    ask(json!({ "do": "take", "pieces": ["8 plate 2x4 kelp"], "from": "cup 1" }))
        .refused(422, "no stock file");
    ask(json!({ "do": "put", "pieces": ["eight plates"], "place": "cup 1" }))
        .refused(422, "eight plates");
    ask(json!({ "do": "undo", "entry": 7 })).refused(422, "no stock file");
    desk.ask(
        &json!({ "do": "put", "pieces": ["1 plate 2x4 kelp"], "place": "cup 1", "new": true }),
    );
    ask(json!({ "do": "undo", "entry": 7 })).refused(422, "entry 7");
    ask(json!({ "do": "take", "pieces": ["8 plate 2x4 kelp"], "from": "cup 1" }))
        .refused(422, "holds 1");
    ask(json!({ "do": "cover", "plan": "quay.csv" })).refused(404, "quay.csv");
    ask(json!({ "do": "calibrate", "photo": "x.jpg", "light": "day" })).refused(404, "x.jpg");
    ask(json!({ "do": "demo" })).refused(400, "does not know");
    ask(json!(["count"])).refused(400, "does not know");
    assert_eq!(desk.server.post("api/shell", &json!({})).status, 404);
}

/// Names go to the pieces that were clicked, in whatever order, and what has none is left out.
#[test]
fn colours_are_taught_by_place() {
    let desk = Desk::open();
    let name = desk.bring("teach-daylight-24");
    let looked = desk
        .server
        .post("api/look", &json!({ "photo": name }))
        .ok()
        .json();
    let sheet: Value = serde_json::from_str(looked["out"].as_str().unwrap()).unwrap();
    let pieces = sheet[0]["pieces"].as_array().unwrap();
    assert_eq!(pieces.len(), 24);
    assert!(
        desk.state()["sheets"].as_array().unwrap().is_empty(),
        "a look keeps no sheet"
    );
    // Every second one, from the last.
    let chosen: Vec<&Value> = pieces.iter().rev().step_by(2).collect();
    let names: Vec<String> = (1..=chosen.len()).map(|k| format!("colour {k}")).collect();
    let at: Vec<Value> = chosen
        .iter()
        .map(|p| json!([p["x_px"], p["y_px"]]))
        .collect();
    let teach = |names: &[String], at: &[Value]| {
        desk.server.post(
            "api/ask",
            &json!({ "do": "teach", "photo": name, "light": "daylight", "names": names, "at": at }),
        )
    };
    teach(&names, &at[1..]).refused(422, "give each name its place");
    let twice = [&[at[1].clone()], &at[1..]].concat();
    teach(&names, &twice).refused(422, "another name already");
    let off = [&[json!([3, 3])], &at[1..]].concat();
    teach(&names, &off).refused(422, "no piece at 3,3");
    assert!(desk.state()["colours"].as_array().unwrap().is_empty());
    teach(&names, &at).ok();
    let taught = desk.ask(&json!({ "do": "colours" }));
    assert_eq!(taught.as_array().unwrap().len(), 12);
    for (name, piece) in names.iter().zip(&chosen) {
        let colour = taught
            .as_array()
            .unwrap()
            .iter()
            .find(|colour| colour["name"] == **name)
            .unwrap();
        for c in 0..3 {
            let (taught, seen) = (
                colour["lab"][c].as_f64().unwrap(),
                piece["lab"][c].as_f64().unwrap(),
            );
            assert!((taught - seen).abs() < 3.0, "{name}: {colour} {piece}");
        }
    }
    assert_eq!(desk.state()["teaching"], json!([name]));
}

#[test]
fn a_plan_is_kept_only_if_it_is_one() {
    let desk = Desk::open();
    let keep = |name: &str, text: &str| {
        desk.server
            .post(&format!("api/plan/{name}"), &json!({ "text": text }))
    };
    let plan = "module,wanted,hidden,form,size,count,colours\nmole,2,,plate,2x4,3,kelp\n";
    keep("mole.csv", plan).ok();
    let wrong = plan.replace("2x4,3", "2x4,many");
    let refused = keep("mole.csv", &wrong);
    let said = refused.text();
    refused.refused(422, "many");
    assert!(said.contains("mole.csv") && !said.contains("tmp"), "{said}");
    assert_eq!(
        desk.server.get("api/plan/mole.csv").ok().json()["text"],
        json!(plan)
    );
    for name in ["..%2fmole.csv", ".mole.csv", "mole.txt", "-x.csv"] {
        assert_eq!(keep(name, plan).status, 422, "{name}");
    }
    // Only as it was read: a second window's change is not written over.
    let read = desk.server.get("api/plan/mole.csv").ok().json();
    let change = |from: &Value, count: u32| {
        let text = plan.replace("2x4,3", &format!("2x4,{count}"));
        let was = from["version"].clone();
        desk.server
            .post("api/plan/mole.csv", &json!({ "text": text, "was": was }))
    };
    keep("mole.csv", plan).refused(409, "changed elsewhere");
    change(&read, 4).ok();
    change(&read, 5).refused(409, "changed elsewhere");
    let again = desk.server.get("api/plan/mole.csv").ok().json();
    assert!(again["text"].as_str().unwrap().contains("2x4,4"));
    change(&again, 3).ok();
    let names = || -> Vec<String> {
        let items = fs::read_dir(desk.path("plans")).unwrap();
        let names = items.map(|item| item.unwrap().file_name().into_string().unwrap());
        names.filter(|name| !name.starts_with('.')).collect()
    };
    assert_eq!(names(), ["mole.csv"]);
    // Prices, too, and only if they are such.
    let prices = r#"{"offers":"v1","currency":"shells","pieces":[{"form":"plate","size":"2x4","colour":"fog","price":0.2}]}"#;
    keep("wall.json", &prices.replace("0.2", "\"dear\"")).refused(422, "wall.json");
    keep("wall.json", prices).ok();
    let listed = desk.state()["plans"].clone();
    assert_eq!(
        (&listed[0]["offers"], &listed[1]["offers"]),
        (&json!(false), &json!(true))
    );
    desk.ask(
        &json!({ "do": "put", "pieces": ["4 plate 2x4 kelp"], "place": "cup 1", "new": true }),
    );
    let cover = desk.ask(&json!({ "do": "cover", "plan": "mole.csv" }));
    assert_eq!(
        (&cover["likely"]["modules"], &cover["missing"][0]["pieces"]),
        (&json!(1), &json!(2))
    );
}

#[test]
fn the_card_comes_as_a_pdf() {
    let desk = Desk::open();
    for paper in ["a4", "letter"] {
        let card = desk.server.get(&format!("card/{paper}.pdf")).ok();
        assert!(card.body.starts_with(b"%PDF-"));
        assert_eq!(card.header("content-type"), Some("application/pdf"));
    }
    assert!(photo("teach-daylight-24").is_file());
}

/// The page shows what the command draws, a user's own shapes with it.
#[test]
fn the_shapes_come_as_a_drawing() {
    let desk = Desk::open();
    let shapes = desk.server.get("shapes.svg").ok();
    assert_eq!(shapes.header("content-type"), Some("image/svg+xml"));
    std::fs::create_dir_all(desk.path("calibration")).unwrap();
    let own = r#"{"shapes": "v2", "pieces": [{"form": "ramp", "sizes": ["2x3"], "height_mm": 9.6,
        "studs": "none", "profile": {"top": [[0, 9.6], [3, 1.6]]}}]}"#;
    std::fs::write(desk.path("calibration/shapes.json"), own).unwrap();
    let with_own = desk.server.get("shapes.svg").ok();
    run(
        &desk.path(""),
        &["shapes", "--out", desk.path("drawn").to_str().unwrap()],
    );
    let drawn = std::fs::read(desk.path("drawn/shapes.svg")).unwrap();
    assert_eq!(with_own.body, drawn);
    assert_ne!(shapes.body, drawn);
    std::fs::write(desk.path("calibration/shapes.json"), "{").unwrap();
    let answer = desk.server.get("shapes.svg");
    answer.refused(422, "shapes.json");
}
