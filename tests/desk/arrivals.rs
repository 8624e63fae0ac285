//! Photos that come in, and their counts: whole or not at all, in order, one bad one beside others.

use std::fs;
use std::io::Write;
use std::net::TcpStream;
use std::path::Path;
use std::time::Duration;

use serde_json::json;

use crate::home::{Desk, photo, run};

const TRAY: &str = "plates-sorted-d50-42";

fn files(folder: &Path) -> Vec<String> {
    let items = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = items
        .map(|item| item.file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// What the page counts is what the command counts.
#[test]
fn a_photo_is_counted_as_the_command_counts_it() {
    let desk = Desk::open();
    let name = desk.bring(TRAY);
    assert_eq!(
        fs::read(desk.path("photos").join(&name)).unwrap(),
        fs::read(photo(TRAY)).unwrap()
    );
    let order =
        json!({ "photos": [name], "place": "cup 1", "form": "plate", "sample_colours": true });
    desk.server.post("api/count", &order).ok();
    let counted = desk.until(&name, "done");
    let sheet = fs::read(desk.path("sheets").join(counted["sheet"].as_str().unwrap())).unwrap();
    let other = tempfile::tempdir().unwrap();
    fs::create_dir(other.path().join("photos")).unwrap();
    let copy = other.path().join("photos").join(&name);
    fs::copy(photo(TRAY), &copy).unwrap();
    let args = [
        "count",
        "--place",
        "cup 1",
        "--form",
        "plate",
        "--sample-colours",
        "--json",
    ];
    run(
        other.path(),
        &[&args[..], &[copy.to_str().unwrap()]].concat(),
    );
    let wanted = fs::read(other.path().join(format!("sheets/{TRAY}.sheet.json"))).unwrap();
    assert!(sheet == wanted, "the sheets differ");
    let short = desk.state()["sheets"][0].clone();
    assert_eq!(
        (&short["pieces"], &short["place"]),
        (&json!(42), &json!("cup 1"))
    );
    assert_eq!(short["standing"]["is"], "new");
    // Its picture, the photo small, and its number in the review.
    let marked = desk.server.get(&format!("marked/{TRAY}.sheet.json")).ok();
    assert!(marked.body.starts_with(&[0xff, 0xd8]));
    let small = desk.server.get(&format!("photo/{name}/320")).ok();
    let small = image::load_from_memory(&small.body).unwrap();
    assert_eq!(small.width().max(small.height()), 320);
    let review = desk.server.post(
        "api/review",
        &json!({ "sheet": format!("{TRAY}.sheet.json") }),
    );
    let number = review.ok().json()["number"].clone();
    let shown = desk
        .server
        .get(&format!("review/api/sheet/{number}"))
        .ok()
        .json();
    assert_eq!(shown["pieces"].as_array().unwrap().len(), 42);
    // Another photo of the same name elsewhere is none of this sheet's.
    assert_eq!(short["own_photos"], json!([name]));
    // What was counted keeps its photo.
    desk.server
        .post("api/remove", &json!({ "photo": name }))
        .refused(422, "would lose its photo");
}

#[test]
fn one_bad_photo_does_not_stop_the_others_and_the_order_is_kept() {
    let desk = Desk::open();
    let names = desk.announce(&["tray 9.jpg", "no photo.jpg", "tray 10.jpg"]);
    let tray = fs::read(photo(TRAY)).unwrap();
    // They come in another order.
    desk.send("tray%2010.jpg", &tray).ok();
    desk.send("no%20photo.jpg", b"This is a letter.").ok();
    desk.send("tray%209.jpg", &tray).ok();
    let order = json!({ "photos": names, "sample_colours": true });
    desk.server.post("api/count", &order).ok();
    desk.server
        .post("api/count", &json!({ "photos": ["tray 10.jpg"] }))
        .refused(422, "is being counted");
    desk.until("tray 10.jpg", "done");
    desk.until("tray 9.jpg", "done");
    let bad = desk.until("no photo.jpg", "failed");
    let said = bad["count"]["said"][0].as_str().unwrap().to_owned();
    assert!(
        said.contains("no photo.jpg") && said.contains("not a JPEG"),
        "{said}"
    );
    let shown: Vec<String> = (desk.state()["photos"].as_array().unwrap().iter())
        .map(|photo| photo["name"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(shown, names);
    desk.server
        .post("api/remove", &json!({ "photo": "no photo.jpg" }))
        .ok();
    assert_eq!(files(&desk.path("photos")), ["tray 10.jpg", "tray 9.jpg"]);
    // A good one of that name does not inherit what became of it.
    let name = desk.announce(&["no photo.jpg"]).remove(0);
    desk.send("no%20photo.jpg", &tray).ok();
    assert_eq!(desk.photo(&name)["count"], json!(null));
    // One that is taken away from outside is gone.
    fs::remove_file(desk.path("photos").join(&name)).unwrap();
    let state = desk.state();
    assert!(
        state["photos"]
            .as_array()
            .unwrap()
            .iter()
            .all(|photo| photo["name"] != *name)
    );
}

#[test]
fn a_count_that_is_ended_leaves_the_photo_as_it_was() {
    let desk = Desk::open();
    let names = ["a.jpg", "b.jpg"].map(|name| desk.announce(&[name]).remove(0));
    for name in &names {
        desk.send(name, &fs::read(photo("poured-mixed-d65-100")).unwrap())
            .ok();
    }
    desk.server
        .post("api/count", &json!({ "photos": names }))
        .ok();
    desk.until(&names[0], "counting");
    for name in names.iter().rev() {
        let ended = desk
            .server
            .post("api/end-count", &json!({ "photo": name }))
            .ok();
        assert_eq!(ended.json(), json!(true));
        desk.until(name, "ended");
    }
    assert!(files(&desk.path("sheets")).is_empty());
    let none = desk
        .server
        .post("api/end-count", &json!({ "photo": names[0] }))
        .ok();
    assert_eq!(none.json(), json!(false));
}

/// Half a photo, broken off by the sender or by kill -9, is no photo.
#[test]
fn half_a_photo_leaves_nothing() {
    let desk = Desk::open();
    let bytes = fs::read(photo(TRAY)).unwrap();
    let begin = |desk: &Desk, name: &str| -> TcpStream {
        let host = desk.server.host();
        let mut stream = TcpStream::connect(host).unwrap();
        let head = format!(
            "POST /{}/photo-in/{name} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/octet-stream\r\nContent-Length: {}\r\n\r\n",
            desk.server.token(),
            bytes.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(&bytes[..bytes.len() / 2]).unwrap();
        stream
    };
    let arriving = |desk: &Desk| files(&desk.path("photos")).len() == 1;
    let wait = |until: &dyn Fn() -> bool| {
        let start = std::time::Instant::now();
        while !until() {
            assert!(start.elapsed() < crate::support::PATIENCE);
            std::thread::sleep(Duration::from_millis(10));
        }
    };
    let name = desk.announce(&["tray.jpg"]).remove(0);
    let half = begin(&desk, &name);
    wait(&|| arriving(&desk));
    drop(half);
    wait(&|| files(&desk.path("photos")).is_empty());
    assert_eq!(desk.photo(&name)["there"], json!(false));
    // It may come once more.
    let half = begin(&desk, &name);
    wait(&|| arriving(&desk));
    let desk = desk.killed_and_again();
    drop(half);
    assert!(files(&desk.path("photos")).is_empty());
    assert_eq!(desk.state()["photos"], json!([]));
}

/// Killed while it counts: the photo is there, and its sheet is whole or not there.
#[test]
fn a_desk_that_is_killed_goes_on_where_it_was() {
    let desk = Desk::open();
    let name = desk.bring(TRAY);
    let order = json!({ "photos": [name], "sample_colours": true });
    desk.server.post("api/count", &order).ok();
    desk.until(&name, "counting");
    let desk = desk.killed_and_again();
    let after = desk.photo(&name);
    assert_eq!(
        (&after["there"], &after["count"]),
        (&json!(true), &json!(null))
    );
    desk.server.post("api/count", &order).ok();
    let sheet = desk.until(&name, "done")["sheet"].clone();
    assert_eq!(sheet, json!(format!("{TRAY}.sheet.json")));
    assert_eq!(desk.state()["sheets"][0]["pieces"], json!(42));
}

#[test]
fn names_lead_nowhere_else() {
    let desk = Desk::open();
    fs::write(desk.path("stock.json"), "{}").unwrap();
    let given = desk.announce(&["../stock.json", "..\\..\\x.jpg", ".hidden.jpg"]);
    assert_eq!(given, ["stock.json", "x.jpg", "hidden.jpg"]);
    for name in [
        "..%2fstock.json",
        "unannounced.jpg",
        "..",
        "%2e%2e%2fstock.json",
    ] {
        assert_ne!(desk.send(name, b"x").status, 200, "{name}");
    }
    desk.send("stock.json", b"x").ok();
    assert_eq!(fs::read(desk.path("stock.json")).unwrap(), b"{}");
    for path in [
        "photo/..%2fstock.json/320",
        "photo/x.jpg/320",
        "photo/stock.json/999",
        "marked/..%2fstock.json",
        "marked/stock.json",
        "api/plan/..%2fstock.json",
        "page/..%2fmain.js",
        "card/a3.pdf",
    ] {
        assert_ne!(desk.server.get(path).status, 200, "{path}");
    }
    desk.server
        .post("api/count", &json!({ "photos": ["../stock.json"] }))
        .refused(404, "no photo");
    desk.server
        .post("api/count", &json!({ "photos": [] }))
        .refused(422, "at least one");
    desk.server
        .post("api/review", &json!({ "sheet": "../stock.json" }))
        .refused(404, "no file");
    assert_eq!(
        desk.send("stock.json", b"y").status,
        422,
        "it is there already"
    );
}

/// A sheet of a photo elsewhere that has the same name is not shown as the count of one that came in.
#[test]
fn a_photo_is_not_taken_for_another_of_its_name() {
    let desk = Desk::open();
    run(
        desk.home.path(),
        &[
            "count",
            "--sample-colours",
            "--json",
            photo(TRAY).to_str().unwrap(),
        ],
    );
    let name = desk.announce(&[&format!("{TRAY}.jpg")]).remove(0);
    desk.send(&name, &fs::read(photo("tiles-sorted-led-b3-55")).unwrap())
        .ok();
    assert_eq!(desk.photo(&name)["sheet"], json!(null));
    desk.server
        .post(
            "api/count",
            &json!({ "photos": [name], "sample_colours": true }),
        )
        .ok();
    let sheet = desk.until(&name, "done")["sheet"].clone();
    let sheets = desk.state()["sheets"].clone();
    let own = sheets
        .as_array()
        .unwrap()
        .iter()
        .find(|short| short["sheet"] == sheet)
        .unwrap();
    assert_eq!(
        (sheets.as_array().unwrap().len(), &own["pieces"]),
        (2, &json!(55))
    );
}

/// A file that cannot be used is said, and the others are shown.
#[test]
fn damaged_files_are_said() {
    let desk = Desk::open();
    fs::create_dir_all(desk.path("sheets")).unwrap();
    fs::create_dir_all(desk.path("calibration")).unwrap();
    for (file, words) in [
        ("sheets/tray.sheet.json", "tray.sheet.json"),
        ("calibration/swatches.json", "swatches.json"),
        ("stock.json", "stock.json"),
    ] {
        fs::write(desk.path(file), "{ half").unwrap();
        let faults = desk.state()["faults"].to_string();
        assert!(faults.contains(words), "{faults}");
    }
    assert_eq!(desk.state()["faults"].as_array().unwrap().len(), 3);
}
