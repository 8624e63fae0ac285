//! `cuptally cover` and `cuptally plan check` through the real program.

use crate::harbour::{Ended, Harbour};
use serde_json::{Value, json};
use std::fs;
use std::path::Path;

const ROOT: &str = env!("CARGO_MANIFEST_DIR");
const HEAD: &str = "place,form,size,colour,count,low,high,status\n";

/// A stock of these rows.
fn stocked(rows: &str) -> Harbour {
    let harbour = Harbour::new();
    fs::write(harbour.path("stock.csv"), format!("{HEAD}{rows}")).unwrap();
    let ended = harbour.run(&["stock", "import", "stock.csv"]);
    assert!([0, 3].contains(&ended.code), "{ended:?}");
    harbour
}

fn write(harbour: &Harbour, name: &str, text: &str) {
    fs::write(harbour.path(name), text).unwrap();
}

/// A plan of one module with these lines.
fn plan(wanted: u64, hidden: u64, lines: Value) -> String {
    json!({
        "plan": "v1",
        "modules": [{ "module": "quay", "wanted": wanted, "hidden": hidden, "lines": lines }],
    })
    .to_string()
}

fn cover(harbour: &Harbour, text: &str, options: &[&str]) -> Ended {
    write(harbour, "build.plan.json", text);
    harbour.run(&[&["cover", "build.plan.json"], options].concat())
}

#[track_caller]
fn fits(schema: &str, value: &Value) {
    let text = fs::read(Path::new(ROOT).join("docs").join(schema)).unwrap();
    let schema: Value = serde_json::from_slice(&text).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    if let Err(error) = validator.validate(value) {
        panic!("{error}");
    }
}

/// The harbour of docs/cover.md.
fn example() -> Harbour {
    let harbour = Harbour::new();
    for file in fs::read_dir(Path::new(ROOT).join("docs/examples/harbour")).unwrap() {
        let file = file.unwrap();
        fs::copy(
            file.path(),
            harbour.path(file.file_name().to_str().unwrap()),
        )
        .unwrap();
    }
    harbour.run(&["stock", "import", "stock.csv"]).code(0);
    harbour
}

#[test]
fn json_and_examples_fit_their_schemas() {
    let harbour = example();
    let file = |name: &str| -> Value {
        serde_json::from_slice(&fs::read(harbour.path(name)).unwrap()).unwrap()
    };
    fits("plan-v1.schema.json", &file("quay.plan.json"));
    fits("offers-v1.schema.json", &file("offers.json"));
    let cover = |options: &[&str]| {
        let ended = harbour.run(&[&["cover", "quay.plan.json", "--json"], options].concat());
        assert!([0, 3].contains(&ended.code), "{ended:?}");
        ended.json()
    };
    fits("cover-v1.schema.json", &cover(&[]));
    let all = [
        "--offers",
        "offers.json",
        "--keep",
        "jetty.plan.csv",
        "--certain",
    ];
    fits("cover-v1.schema.json", &cover(&all));
    let taken = cover(&["--take"]);
    fits("cover-v1.schema.json", &taken);
    assert_eq!(taken["entry"], 2);
}

/// Every mistake is one sentence with its line, and exit code 1.
#[test]
fn a_bad_plan_is_told_by_line() {
    let harbour = Harbour::new();
    let line = r#"{"form":"brick","size":"2x4","count":4,"colours":["basalt"]}"#;
    let of = |wanted: &str, hidden: &str, line: &str| {
        format!(
            "{{\"plan\":\"v1\",\"modules\":[\n{{\"module\":\"quay\",\"wanted\":{wanted},\"hidden\":{hidden},\"lines\":[\n{line}]}}]}}"
        )
    };
    let joins = |rules: &str| {
        format!(
            "{{\"plan\":\"v1\",\"joins\":[\n{rules}],\"modules\":[{{\"module\":\"quay\",\"wanted\":1,\"lines\":[{line}]}}]}}"
        )
    };
    let cases = [
        (of("-3", "0", line), "line 2: 'wanted' is -3; say a whole number from 1 to 100000"),
        (of("0", "0", line), "line 2: module quay is wanted 0 times; say how many"),
        (of("1000000000", "0", line), "line 2: 'wanted' is 1000000000; say a whole number"),
        (of("1.5", "0", line), "line 2: 'wanted' is 1.5; say a whole number"),
        (of("3", "5", line), "line 2: module quay contradicts itself: 5 hidden of 3 wanted"),
        (of("3", "0", &line.replace("4,", "-4,")), "line 3: 'count' is -4; say"),
        (of("3", "0", &line.replace("\"count\":4", "\"count\":0")), "line 3: the line needs 0 pieces"),
        (of("3", "0", &line.replace("brick", "any")), "line 3: the form 'any' is what a count says"),
        (of("3", "0", &line.replace("2x4", "2x")), "line 3: the size '2x' is not two numbers"),
        (of("3", "0", &line.replace("[\"basalt\"]", "[]")), "line 3: 'colours' lists no colour"),
        (of("3", "0", &line.replace("[\"basalt\"]", "7")), "line 3: 'colours' is no choice of colours"),
        (of("3", "0", &line.replace("colours", "coulours")), "line 3: 'coulours' means nothing here"),
        (of("3", "0", &line.replace("\"form\"", "\"size\"")), "line 3: 'size' is said twice"),
        (of("3", "0", ""), "line 2: module quay has no lines"),
        (of("100000", "0", &line.replace("4,", "1000,")), "line 2: the plan comes to more than"),
        (
            joins("{\"size\":\"2x4\",\"of\":[\"2x6\",\"2x2\"]},\n{\"size\":\"2x6\",\"of\":[\"2x4\",\"2x2\"]}"),
            "line 2: the joins go round in a circle: 2x4 from 2x6 from 2x4",
        ),
        (
            joins("{\"size\":\"2x6\",\"of\":[\"2x4\",\"2x4\"]}"),
            "line 2: a 2x6 cannot be joined from 2x4 + 2x4: they do not cover its studs",
        ),
        ("{\"plan\":\"v2\",\"modules\":[]}".to_owned(), "it is a plan of version 'v2'"),
        ("{\"plan\":\"v1\",\"modules\":[]}".to_owned(), "it has no modules"),
        ("{\"plan\":\"v1\",\n\"modules\":".to_owned(), "line 2: it is not JSON"),
        (String::new(), "it has no modules"),
        (
            "module,wanted,form,size,count,colours\nquay,3,brick,2x4,4,basalt\nquay,4,brick,2x2,1,any but\n".to_owned(),
            "line 3: module quay contradicts itself: 'wanted' is 4 here and 3 in line 2",
        ),
        ("module;wanted;form\n".to_owned(), "line 1: the column 'size' is missing"),
        ("module,wanted\nquay,3\n".to_owned(), "line 1: the column 'form' is missing"),
    ];
    for (text, says) in cases {
        for command in [&["cover"][..], &["plan", "check"]] {
            write(&harbour, "bad.plan", &text);
            let ended = harbour.run(&[command, &["bad.plan"]].concat());
            assert_eq!(ended.code, 1, "{text}: {ended:?}");
            assert!(
                ended
                    .err
                    .starts_with("cuptally: cannot use the plan bad.plan:"),
                "{ended:?}"
            );
            assert!(ended.err.contains(says), "'{says}' is not in {ended:?}");
            assert_eq!(ended.out, "", "{text}");
        }
    }
    harbour
        .run(&["cover", "no-such.json"])
        .code(1)
        .says("no-such.json");
}

/// All mistakes at once, in the order of the lines.
#[test]
fn all_mistakes_of_a_plan_are_told_together() {
    let harbour = Harbour::new();
    let text = "module,wanted,form,size,count,colours\nquay,2,brick,2x,4,any\nquay,,plate,2x4,x,any\npier,,tile,1x1,1,any but\n";
    // As spreadsheets write it; with a text editor's line ends it is told the same.
    write(&harbour, "bad.csv", &text.replace('\n', "\r\n"));
    let by_spreadsheet = harbour.run(&["plan", "check", "bad.csv"]).code(1);
    write(&harbour, "bad.csv", text);
    let ended = harbour.run(&["plan", "check", "bad.csv"]).code(1);
    assert_eq!(by_spreadsheet.err, ended.err);
    let lines: Vec<&str> = ended.err.lines().skip(1).map(str::trim).collect();
    let begin = [
        "line 2: the size",
        "line 3: 'count' is 'x'",
        "line 4: 'wanted' is missing",
        "line 4: 'colours' lists no colour",
    ];
    assert_eq!(lines.len(), begin.len(), "{ended:?}");
    for (line, begin) in lines.iter().zip(begin) {
        assert!(line.starts_with(begin), "{line}");
    }
}

#[test]
fn bad_offers_are_told_by_line() {
    let harbour = example();
    let cases = [
        (r#"{"offers":"v1"}"#, "it offers nothing"),
        (r#"{"offers":"v3","cups":[]}"#, "version 'v3'"),
        (
            r#"{"offers":"v1","pieces":[{"form":"brick","size":"2x4","colour":"sand","price":-1}]}"#,
            "line 1: 'price' is -1",
        ),
        (
            r#"{"offers":"v1","multiplier":0,"pieces":[]}"#,
            "'multiplier' is 0",
        ),
        (
            r#"{"offers":"v1","cups":[{"form":"slope","size":"2x4","colour":"sand","price":1,"volume_ml":500}]}"#,
            "count one and say 'holds'",
        ),
        (
            r#"{"offers":"v1","cups":[{"form":"brick","size":"2x4","colour":"sand","price":1,"holds":0}]}"#,
            "'holds' is 0",
        ),
        (
            r#"{"offers":"v1","cups":[{"form":"brick","size":"2x4","colour":"sand","price":1,"volume_ml":1}]}"#,
            "may hold no brick 2x4",
        ),
        (
            r#"{"offers":"v1","pieces":[{"form":"brick","size":"2x4","colour":"sand","price":1,"minimum":5,"most":3}]}"#,
            "contradicts itself",
        ),
    ];
    for (text, says) in cases {
        write(&harbour, "bad.json", text);
        let ended = harbour.run(&["cover", "quay.plan.json", "--offers", "bad.json"]);
        assert_eq!(ended.code, 1, "{text}: {ended:?}");
        assert!(ended.err.contains(says), "'{says}' is not in {ended:?}");
        assert_eq!(ended.out, "");
    }
}

#[test]
fn a_mistyped_colour_is_pointed_out() {
    let harbour = stocked("cup 1,brick,2x4,basalt,8,8,8,checked\n");
    let line =
        |colour: &str| json!([{ "form": "brick", "size": "2x4", "count": 4, "colours": [colour] }]);
    cover(&harbour, &plan(2, 0, line("basalt")), &[]).code(0);
    cover(&harbour, &plan(2, 0, line("basaltt")), &[])
        .code(3)
        .prints("finishes 0 of 2")
        .says("line 1: no colour 'basaltt' was ever in stock, is on offer or was taught; did you mean 'basalt'?");
    // What was used up is no mistake.
    cover(&harbour, &plan(2, 0, line("basalt")), &["--take"]).code(0);
    let ended = cover(&harbour, &plan(2, 0, line("basalt")), &[]).code(0);
    assert_eq!(ended.err, "");
}

#[test]
fn a_size_that_no_list_has_is_pointed_out() {
    let harbour = stocked("cup 1,brick,2x4,basalt,8,8,8,checked\n");
    write(
        &harbour,
        "a.csv",
        "module,wanted,form,size,count,colours,joins\r\nquay,1,brick,2x4,1,any,\r\nquay,,brick,2x9,1,any,\r\n\
         quay,,brick,2x9,2,any,\r\nquay,,brick,2x12,1,any,always\r\n",
    );
    let ended = harbour.run(&["plan", "check", "a.csv"]).code(3);
    assert_eq!(
        ended.err,
        "cuptally: a.csv, line 3: no brick 2x9 is in the list of shapes, was ever in stock or is on offer; did you mean 'brick 2x8'?\n",
        "once, and not for what is joined from smaller ones"
    );
}

/// Nobody has looked at pending pieces, and of `any` nobody knows what they are.
#[test]
fn doubt_is_shown() {
    let harbour = stocked(
        "cup 1,brick,2x4,basalt,10,8,12,checked\ncup 2,brick,2x4,basalt,6,6,6,pending\ncup 3,any,2x4,basalt,20,20,20,checked\n",
    );
    let text = plan(
        9,
        0,
        json!([{ "form": "brick", "size": "2x4", "count": 2, "colours": "basalt" }]),
    );
    let report = cover(&harbour, &text, &["--json"]).code(3).json();
    // Checked 10 and pending 6 make 8 modules; the lowest checked count is 8: 4 modules.
    assert_eq!(report["likely"]["modules"], 8);
    assert_eq!(report["certain"]["modules"], 4);
    assert_eq!(report["certain"]["missing"], 10);
    assert_eq!(report["missing"][0]["pieces"], 2);
    assert_eq!(report["missing"][0]["form_not_known"], 20);
    let rows: Vec<(u64, u64, u64)> = report["fetch"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            let number = |name: &str| row[name].as_u64().unwrap();
            (number("take"), number("certain"), number("pending"))
        })
        .collect();
    assert_eq!(rows, [(10, 8, 0), (6, 0, 6)]);
    let before = fs::read(harbour.stock_file()).unwrap();
    cover(&harbour, &text, &["--take"])
        .code(1)
        .says("6 of the pieces to take are pending, in cup 2");
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), before);
    cover(&harbour, &text, &["--take", "--certain"]).code(3);
    assert_eq!(harbour.checked_rows()[0], "cup 1: brick 2x4 basalt 2 (0-4)");
}

#[test]
fn take_is_one_entry_that_can_be_undone() {
    let harbour = example();
    let before = harbour.checked_rows();
    harbour
        .run(&["cover", "quay.plan.json", "--take"])
        .code(3)
        .prints("Entry 2: took the pieces of the fetch list.");
    let after = harbour.checked_rows();
    // 44 (42-44) less the 44 that 11 seen modules need, and so on by hand.
    assert!(
        !after.iter().any(|row| row.contains("basalt 4")),
        "{after:?}"
    );
    assert!(
        after.contains(&"cup 2, odd bricks: brick 2x4 rust 4".to_owned()),
        "{after:?}"
    );
    assert!(
        after.contains(&"cup 10, paving: tile 1x2 fog 12 (8-16)".to_owned()),
        "{after:?}"
    );
    harbour
        .run(&["stock", "history"])
        .code(0)
        .prints("took (for tidal harbour, quay)");
    harbour.run(&["stock", "undo", "2"]).code(0);
    assert_eq!(harbour.checked_rows(), before);
    write(
        &harbour,
        "none.csv",
        "module,wanted,form,size,count,colours\npier,1,brick,9x9,1,any\n",
    );
    harbour
        .run(&["cover", "none.csv", "--take"])
        .code(1)
        .says("there is nothing to take: no module of the plan can be finished");
}

/// A line that takes any of two colours leaves the one that another plan needs.
#[test]
fn a_plan_kept_in_mind_is_spared() {
    let harbour =
        stocked("cup 1,brick,2x4,rose,12,12,12,checked\ncup 1,brick,2x4,sand,10,10,10,checked\n");
    let text = plan(
        2,
        0,
        json!([{ "form": "brick", "size": "2x4", "count": 5, "colours": ["rose", "sand"] }]),
    );
    write(
        &harbour,
        "jetty.csv",
        "module,wanted,form,size,count,colours\njetty,3,brick,2x4,4,rose\n",
    );
    let colours = |report: &Value| report["colours"][0]["gets"].clone();
    // Without it, plenty goes first.
    let alone = cover(&harbour, &text, &["--json"]).code(0).json();
    assert_eq!(colours(&alone), json!({ "rose": 10 }));
    let spared = cover(&harbour, &text, &["--json", "--keep", "jetty.csv"])
        .code(0)
        .json();
    assert_eq!(colours(&spared), json!({ "sand": 10 }));
    assert_eq!(
        spared["kept"],
        json!([{ "plan": "jetty.csv", "wanted": 3, "before": 3, "after": 3 }])
    );
    assert_eq!(spared["spared"][0]["pieces"], 12);
    // Kept in mind is not reserved: what this plan cannot do without, it takes.
    let text = plan(
        4,
        0,
        json!([{ "form": "brick", "size": "2x4", "count": 5, "colours": ["rose", "sand"] }]),
    );
    let taken = cover(&harbour, &text, &["--json", "--keep", "jetty.csv"])
        .code(0)
        .json();
    assert_eq!(taken["likely"]["modules"], 4);
    assert_eq!(taken["kept"][0]["after"], 0);
}

/// Any colour gives way where one colour is needed, though it is listed first.
#[test]
fn scarce_colours_are_spared_for_lines_that_take_nothing_else() {
    let harbour =
        stocked("cup 1,plate,2x4,rose,4,4,4,checked\ncup 1,plate,2x4,tar,4,4,4,checked\n");
    let line =
        |colours: Value| json!({ "form": "plate", "size": "2x4", "count": 1, "colours": colours });
    let text = plan(4, 0, json!([line(json!("any")), line(json!("rose"))]));
    let report = cover(&harbour, &text, &["--json"]).code(0).json();
    assert_eq!(report["likely"]["modules"], 4);
    assert_eq!(report["colours"][0]["gets"], json!({ "tar": 4 }));
    assert_eq!(report["spared"][0]["colour"], "rose");
}

/// Joins stay where nobody sees them, and within one form.
#[test]
fn joins_are_made_in_hidden_modules_only() {
    let harbour = stocked(
        "cup 1,brick,2x4,tar,6,6,6,checked\ncup 1,brick,2x2,tar,6,6,6,checked\ncup 1,plate,2x6,tar,9,9,9,checked\n",
    );
    let line = |joins: &str| json!([{ "form": "brick", "size": "2x6", "count": 2, "colours": "any", "joins": joins }]);
    let modules = |text: &str| {
        let report = cover(&harbour, text, &["--json"]).json();
        (
            report["likely"]["modules"].as_u64().unwrap(),
            report["joins"].clone(),
        )
    };
    assert_eq!(modules(&plan(5, 0, line("never"))).0, 0);
    assert_eq!(modules(&plan(5, 1, line("hidden"))).0, 1);
    let (all, joins) = modules(&plan(5, 0, line("always")));
    assert_eq!(all, 3);
    assert_eq!(joins[0]["parts"], json!({ "2x2": 1, "2x4": 1 }));
    assert_eq!(joins[0]["pieces"], 6);
}

/// The cheapest split, by hand: 26 needed; a counted cup holds 20 to 24 and costs 3.00,
/// a piece costs 0.20 but only from 5 on. Two cups 6.00; one cup and 6 pieces 4.20;
/// 26 pieces 5.20. A weekend with a quarter off makes it 3.15.
#[test]
fn the_cheapest_split_is_found() {
    let harbour = stocked("cup 1,brick,2x4,tar,4,4,4,checked\n");
    let text = plan(
        10,
        0,
        json!([{ "form": "brick", "size": "2x4", "count": 3, "colours": ["tar"] }]),
    );
    write(
        &harbour,
        "offers.json",
        r#"{"offers":"v1","multiplier":0.75,
            "pieces":[{"form":"brick","size":"2x4","colour":"tar","price":0.2,"minimum":5}],
            "cups":[{"form":"brick","size":"2x4","colour":"tar","price":3,"holds":{"low":20,"high":24}}]}"#,
    );
    let report = cover(&harbour, &text, &["--json", "--offers", "offers.json"])
        .code(0)
        .json();
    let advice = &report["advice"];
    let cost = advice["cost"].as_f64().unwrap();
    assert!((cost - 3.15).abs() < 1e-9, "{cost}");
    assert_eq!(advice["buy"][0]["units"], 6);
    assert_eq!(advice["buy"][1]["units"], 1);
    assert_eq!(advice["buy"][1]["left_low"], 0);
    assert_eq!(advice["buy"][1]["left_high"], 4);
    assert_eq!(
        report["likely"]["cost_at_least"]
            .as_f64()
            .map(|c| (c - 3.15).abs() < 1e-6),
        Some(true)
    );
    // Nobody sells bricks of another colour.
    let text = plan(
        10,
        0,
        json!([{ "form": "brick", "size": "2x4", "count": 3, "colours": ["rose"] }]),
    );
    cover(&harbour, &text, &["--offers", "offers.json"])
        .code(3)
        .prints("Buy nothing.")
        .says("30 pieces missing can be bought from none of the offers");
}

#[test]
fn priority_goes_before_number() {
    let harbour = stocked("cup 1,tile,1x2,fog,6,6,6,checked\n");
    let text = "module,wanted,priority,form,size,count,colours\nbig,1,1,tile,1x2,5,fog\nsmall,6,2,tile,1x2,1,fog\n";
    write(&harbour, "ranked.csv", text);
    let report = harbour.run(&["cover", "ranked.csv", "--json"]).json();
    let likely = |at: usize| report["kinds"][at]["likely"].as_u64().unwrap();
    assert_eq!((likely(0), likely(1)), (1, 1));
    write(&harbour, "alike.csv", &text.replace(",2,tile", ",1,tile"));
    let report = harbour.run(&["cover", "alike.csv", "--json"]).json();
    let likely = |at: usize| report["kinds"][at]["likely"].as_u64().unwrap();
    assert_eq!((likely(0), likely(1)), (0, 6));
}

#[test]
fn without_a_stock_everything_is_missing() {
    let harbour = Harbour::new();
    let text = plan(
        2,
        0,
        json!([{ "form": "brick", "size": "2x4", "count": 4, "colours": "any" }]),
    );
    let ended = cover(&harbour, &text, &[]).code(0);
    assert!(ended.err.contains("there is no stock file"), "{ended:?}");
    assert!(
        ended.err.contains("begin with `cuptally count PHOTO`"),
        "{ended:?}"
    );
    assert!(
        (ended.out).starts_with("There is no stock yet, so it finishes 0 of 2 modules."),
        "{ended:?}"
    );
    assert!(!ended.out.contains("for certain"), "{ended:?}");
    assert!(
        ended.out.contains("Missing for the rest: 8 pieces"),
        "{ended:?}"
    );
    assert!(!ended.out.contains('\u{1b}'), "{ended:?}");
    assert!(!harbour.stock_file().exists());
    // One in which nothing is left is as little to be certain of.
    let put = [
        "stock",
        "put",
        "2 brick 2x4 fog",
        "--place",
        "cup 1",
        "--new",
    ];
    harbour.run(&put).code(0);
    harbour.run(&["stock", "undo"]).code(0);
    let ended = cover(&harbour, &text, &[]).code(0);
    assert!(
        (ended.out).starts_with("The stock is empty, so it finishes 0 of 2 modules."),
        "{ended:?}"
    );
}
