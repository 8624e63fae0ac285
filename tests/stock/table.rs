//! `cuptally stock export` and `import` through the real program.

use crate::harbour::{Harbour, Row};
use cuptally::stock::{Contents, Kind, Name, Size, Tally, table};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use std::fs;

const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);
const SAND: Row = ("tile", "1x2", "weathered sand", 33, 30, 35);

#[test]
fn a_table_goes_out_and_comes_back() {
    let harbour = Harbour::new();
    let odd = [
        "=1+1", "+a", "-b", "@c", "'=d", "''@e", "'f", "g, \"h\"", "7; i",
    ];
    let rows: Vec<Row> = odd
        .iter()
        .map(|name| ("plate", "1x2", *name, 5, 4, 6))
        .collect();
    let sheet = harbour.checked("odd", Some("=cup"), &rows);
    let slip = harbour.sheet("slip", Some("cup, 2"), &[SAND]);
    harbour.run(&["post", &sheet, &slip]).code(3);
    let csv = harbour.run(&["stock", "export"]).code(0).out;
    assert!(csv.starts_with("place,form,size,colour,count,low,high,status\r\n"));
    for line in csv.lines() {
        for cell in line.split(',') {
            assert!(!cell.starts_with(['=', '+', '-', '@']), "{line}");
        }
    }
    assert!(
        csv.contains("\r\n'=cup,plate,1x2,'=1+1,5,4,6,checked\r\n"),
        "{csv}"
    );
    assert!(csv.contains("\"g, \"\"h\"\"\""), "{csv}");
    assert!(
        csv.contains("\r\n\"cup, 2\",tile,1x2,weathered sand,33,30,35,pending\r\n"),
        "{csv}"
    );

    harbour
        .run(&["stock", "export", "--out", "stock.csv"])
        .code(0)
        .prints("Wrote stock.csv.");
    assert_eq!(fs::read_to_string(harbour.path("stock.csv")).unwrap(), csv);
    let other = Harbour::new();
    fs::write(other.path("stock.csv"), &csv).unwrap();
    other
        .run(&["stock", "import", "stock.csv"])
        .code(3)
        .prints("Entry 1: imported 2 places");
    assert_eq!(other.checked_rows(), harbour.checked_rows());
    assert_eq!(other.pending_rows(), harbour.pending_rows());
    other
        .run(&["stock", "import", "stock.csv"])
        .code(2)
        .says("say --add");
    other
        .run(&["stock", "import", "stock.csv", "--recount"])
        .code(3);
    assert_eq!(other.run(&["stock", "export"]).code(0).out, csv);
    other.run(&["stock", "confirm", "2"]).code(0);
    other
        .run(&["stock", "undo", "1"])
        .code(1)
        .says("was recounted since, by entry 2");
}

/// Any names, most of them beginning with what spreadsheets or tables give a meaning.
fn any_name() -> impl Strategy<Value = String> {
    (
        "[=+@'\"\\-\u{ff1d}\u{ff0b}\u{ff0d}\u{ff20},;]{0,3}",
        any::<String>(),
    )
        .prop_map(|(begin, rest)| format!("{begin}{rest}"))
        .prop_filter_map("no name", |text| {
            Name::new(&text).ok().map(|name| name.to_string())
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, rng_seed: RngSeed::Fixed(20260504), failure_persistence: None, ..ProptestConfig::default() })]

    /// Signs by which a spreadsheet knows a formula: OWASP ASVS 5.0, 1.2.10.
    #[test]
    fn no_name_is_taken_for_a_formula_and_every_name_comes_back(
        places in prop::collection::btree_set(any_name(), 1..4), form in any_name(), colour in any_name(), count in 1..99u64,
    ) {
        let kind = Kind {
            form: Name::new(&form).unwrap(),
            size: Size::new("2x4").unwrap(),
            colour: Name::new(&colour).unwrap(),
        };
        let mut contents = Contents::default();
        for place in &places {
            contents.set(&Name::new(place).unwrap(), kind.clone(), Tally::exact(count).unwrap());
        }
        let bytes = table::write(&contents).unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        for record in reader.records() {
            // As a spreadsheet sees them that parts cells by semicolons, too.
            for cell in record.unwrap().iter().flat_map(|cell| cell.split(';')) {
                let cell = cell.trim_start_matches(' ');
                prop_assert!(
                    !cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}']),
                    "{:?}", cell
                );
            }
        }
        let read = table::read(&bytes).unwrap();
        prop_assert_eq!(read.listing(&contents).unwrap().checked, contents.places.clone());
        prop_assert_eq!(read.listing(&Contents::default()).unwrap().checked, contents.places);
    }
}

#[test]
fn a_table_by_hand_may_be_plain() {
    let harbour = Harbour::new();
    let text = "\u{feff}Count, Colour ,size,FORM,place,remark\r\n 5 , rose,4 x 2,plate,cup 3,from the fair\r\n";
    fs::write(harbour.path("fair.csv"), text).unwrap();
    harbour
        .run(&["stock", "import", "fair.csv"])
        .code(0)
        .says("the column 'remark' means nothing here and was left out");
    assert_eq!(harbour.checked_rows(), ["cup 3: plate 2x4 rose 5"]);
    harbour
        .run(&["stock", "history"])
        .code(0)
        .prints("imported fair.csv: cup 3 +5");
    // A recount by table may say that a place is empty.
    fs::write(
        harbour.path("none.csv"),
        "place,form,size,colour,count\ncup 3,plate,2x4,rose,0\n",
    )
    .unwrap();
    harbour
        .run(&["stock", "import", "none.csv", "--recount"])
        .code(0);
    assert!(harbour.checked_rows().is_empty());
}

#[test]
fn a_wrong_table_is_refused_whole_with_its_line_numbers() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 10"), &[ROSE]);
    harbour.run(&["post", &quay]).code(0);
    let before = fs::read(harbour.stock_file()).unwrap();
    let header = "place,form,size,colour,count,low,high,status\n";
    let body = "cup 7,plate,2x4,rose,5,,,\n\
                cup 7,plate,2x4,,5,,,\n\
                cup 7,plate,2by4,rose,5,,,\n\
                cup 7,plate,2x4,sand,five,,,\n\
                cup 7,plate,2x4,grey,5,7,6,\n\
                cup 7,plate,4x2,rose,1,,,checked\n\
                cup 7,plate,2x4,blue,1,,,maybe\n\
                \"cup\n7\",plate,2x4,blue,1,,,\n\
                cup 7,plate,2x4,mint,+5,,,\n";
    // A spreadsheet's line ends, a text editor's and those of old.
    for end in ["\n", "\r\n", "\r"] {
        let text = format!("{header}\n{body}").replace('\n', end);
        fs::write(harbour.path("bad.csv"), text).unwrap();
        let ended = harbour
            .run(&["stock", "import", "bad.csv", "--add"])
            .code(1);
        for text in [
            "  line 4: colour: a name is empty",
            "  line 8: plate 2x4 rose in cup 7 stands in line 3 already",
            "  line 10: place: the name 'cup7' holds a tab, a line break",
            "  line 12: count: '+5' is no whole number",
        ] {
            assert!(ended.err.contains(text), "no '{text}' in\n{}", ended.err);
        }
    }
    fs::write(harbour.path("bad.csv"), format!("{header}{body}")).unwrap();
    let ended = harbour
        .run(&["stock", "import", "bad.csv", "--add"])
        .code(1);
    for text in [
        "cannot import bad.csv, nothing was changed:",
        "line 3: colour: a name is empty",
        "line 4: size: the size '2by4' is not two numbers of studs such as 2x4",
        "line 5: count: 'five' is no whole number from 0",
        "line 6: the count 5 is not within its range 7-6",
        "line 7: plate 2x4 rose in cup 7 stands in line 2 already",
        "line 8: status: 'maybe' is neither checked nor as counted nor pending",
        "line 9: place: the name 'cup7' holds a tab, a line break",
        "line 11: count: '+5' is no whole number",
    ] {
        assert!(ended.err.contains(text), "no '{text}' in\n{}", ended.err);
    }
    let whole: &[(&[u8], &str)] = &[
        (b"", "names no column 'place'"),
        (
            b"place,form,size,colour,count\n",
            "it has no lines after the first",
        ),
        (
            b"place,form,size,colour\ncup,plate,2x4,rose\n",
            "names no column 'count'",
        ),
        (
            b"place,place,form,size,colour,count\n",
            "names the column 'place' twice",
        ),
        (
            b"\xff\xfep\0l\0a\0c\0e\0",
            "it is not UTF-8 text; save it as CSV in UTF-8",
        ),
        (
            b"place,form,size,colour,count\r\ncup,plate\r\n",
            "it is no table: line 2 has 2 of the 5 cells",
        ),
        (
            b"place,form,size,colour,count\r\ncup,plate,2x4,\xff\xfe,3\r\n",
            "it is no table: line 2 is not UTF-8 text",
        ),
    ];
    for (bytes, says) in whole {
        fs::write(harbour.path("bad.csv"), bytes).unwrap();
        harbour
            .run(&["stock", "import", "bad.csv", "--add"])
            .code(1)
            .says(says);
    }
    harbour
        .run(&["stock", "import", "missing.csv"])
        .code(1)
        .says("cannot read missing.csv: there is no such file or folder; check the name");
    assert_eq!(fs::read(harbour.stock_file()).unwrap(), before);
}

#[test]
fn each_fault_of_a_row_is_told() {
    let harbour = Harbour::new();
    let text = "place,form,size,colour,count,low,high,status\n,,2xq,,-4,,9,maybe\n";
    fs::write(harbour.path("bad.csv"), text).unwrap();
    let ended = harbour.run(&["stock", "import", "bad.csv"]).code(1);
    let told: Vec<&str> = ended.err.lines().skip(1).collect();
    let begins = [
        "place: a name is empty",
        "form: a name is empty",
        "size: the size '2xq'",
        "colour: a name is empty",
        "count: '-4' is no whole number",
        "status: 'maybe'",
    ];
    assert_eq!(told.len(), begins.len(), "{told:#?}");
    for (line, begin) in told.iter().zip(begins) {
        assert!(line.starts_with(&format!("  line 2: {begin}")), "{line}");
    }
}

#[test]
fn places_with_commas_are_told_apart() {
    let harbour = Harbour::new();
    let text = "place,form,size,colour,count\n\"cup 1, quay decks\",plate,2x4,rose,4\n\
                \"cup 2, quay decks\",plate,2x4,rose,4\ncup 3,plate,2x4,rose,4\n";
    fs::write(harbour.path("t.csv"), text).unwrap();
    harbour.run(&["stock", "import", "t.csv"]).code(0);
    harbour.run(&["stock", "import", "t.csv"]).code(2).says(
        "each of 'cup 1, quay decks', 'cup 2, quay decks' and 'cup 3' already holds pieces; say --add",
    );
}

#[test]
fn a_table_that_cannot_be_written_is_told_without_the_systems_words() {
    let harbour = Harbour::new();
    let quay = harbour.checked("quay", Some("cup 10"), &[ROSE]);
    harbour.run(&["post", &quay]).code(0);
    fs::create_dir(harbour.path("tables")).unwrap();
    fs::write(harbour.path("text.jpg"), "text").unwrap();
    for (out, says) in [
        ("nowhere/x.csv", "there is no folder nowhere"),
        ("tables", "it is a folder, not a file"),
        ("text.jpg/x.csv", "what stands there for a folder is a file"),
    ] {
        let ended = harbour.run(&["stock", "export", "--out", out]).code(1);
        let whole = format!("cuptally: cannot write {out}: {says}; name another file with --out\n");
        assert_eq!(ended.err, whole);
    }
    if cfg!(target_os = "linux") {
        let ended = harbour.run(&["stock", "export", "--out", "/proc/x.csv"]);
        let ended = ended.code(1).says("cannot write /proc/x.csv: ");
        assert!(
            !ended.err.contains(".tmp") && !ended.err.contains("os error"),
            "{ended:?}"
        );
    }
    let ended = harbour.run(&["card", "--out", "text.jpg"]).code(1);
    assert_eq!(
        ended.err,
        "cuptally: cannot make the folder text.jpg: there is a file of that name, not a folder; name another folder\n"
    );
}
