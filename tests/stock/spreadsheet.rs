//! The spreadsheet way: export, change a number, import; however the spreadsheet saves it.

use crate::harbour::{Harbour, Row};
use std::fs;

const SAND: Row = ("tile", "1x2", "weathered sand", 43, 42, 44);
const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);

/// A stock with a range, exported.
fn exported() -> (Harbour, String) {
    let harbour = Harbour::new();
    let sheet = harbour.checked("quay", Some("cup 3"), &[SAND, ROSE]);
    harbour.run(&["post", &sheet]).code(0);
    let csv = harbour.run(&["stock", "export"]).code(0).out;
    (harbour, csv)
}

fn import(harbour: &Harbour, text: impl AsRef<[u8]>) -> Vec<String> {
    fs::write(harbour.path("back.csv"), text).unwrap();
    harbour
        .run(&["stock", "import", "back.csv", "--recount"])
        .code(0);
    harbour.checked_rows()
}

#[test]
fn a_changed_count_sets_its_own_range() {
    let (harbour, csv) = exported();
    let with = |count: &str| csv.replacen(",43,42,44,", &format!(",{count},42,44,"), 1);
    assert_eq!(
        import(&harbour, with("45")),
        [
            "cup 3: plate 2x4 rose 7",
            "cup 3: tile 1x2 weathered sand 45"
        ]
    );
    // Within the range too: who counts 44 knows that there are 44.
    harbour.run(&["stock", "undo"]).code(0);
    assert_eq!(
        import(&harbour, with("44"))[1],
        "cup 3: tile 1x2 weathered sand 44"
    );
    // What was not changed keeps its range; so does a range that was changed as well.
    harbour.run(&["stock", "undo"]).code(0);
    assert_eq!(
        import(&harbour, &csv)[1],
        "cup 3: tile 1x2 weathered sand 43 (42-44)"
    );
    let both = csv.replacen(",43,42,44,", ",45,44,50,", 1);
    assert_eq!(
        import(&harbour, both)[1],
        "cup 3: tile 1x2 weathered sand 45 (44-50)"
    );
    // Into a stock that has no such pieces, it is seen by the count alone.
    let other = Harbour::new();
    assert_eq!(
        import(&other, with("45"))[1],
        "cup 3: tile 1x2 weathered sand 45"
    );
    // A range that was changed, and not to hold the count, contradicts it.
    let wrong = csv.replacen(",43,42,44,", ",45,41,44,", 1);
    fs::write(harbour.path("back.csv"), wrong).unwrap();
    harbour
        .run(&["stock", "import", "back.csv", "--recount"])
        .code(1)
        .says("line 3: the count 45 is not within its range 41-44");
}

#[test]
fn a_changed_count_is_no_longer_taken_as_counted() {
    let harbour = Harbour::new();
    let sheet = harbour.sheet("quay", Some("cup 3"), &[SAND, ROSE]);
    harbour.run(&["post", &sheet]).code(3);
    harbour.run(&["stock", "confirm"]).code(0);
    let csv = harbour.run(&["stock", "export"]).code(0).out;
    assert!(csv.contains("43,42,44,as counted\r\n"), "{csv}");
    let before = harbour.checked_rows();
    assert_eq!(import(&harbour, &csv), before);
    assert_eq!(
        import(&harbour, csv.replacen(",43,42,44,", ",45,42,44,", 1)),
        [
            "cup 3: plate 2x4 rose 7 (taken as counted)",
            "cup 3: tile 1x2 weathered sand 45"
        ]
    );
}

#[test]
fn a_table_comes_back_as_spreadsheets_save_it() {
    let (harbour, csv) = exported();
    let semicolons = csv.replace(',', ";");
    let quoted: String = csv
        .lines()
        .map(|line| {
            let cells: Vec<String> = line.split(',').map(|cell| format!("\"{cell}\"")).collect();
            format!("{}\r\n", cells.join(";"))
        })
        .collect();
    let trailing: String = csv
        .lines()
        .map(|line| format!("{line},,,\r\n"))
        .chain([",,,,,,,,,,\r\n".to_owned(), "\r\n".to_owned()])
        .collect();
    let saved = [
        csv.clone(),
        format!("\u{feff}{csv}"),
        csv.replace("\r\n", "\n"),
        csv.replace("\r\n", "\r"),
        semicolons.clone(),
        format!("\u{feff}sep=;\r\n{semicolons}"),
        csv.replace(',', "\t"),
        semicolons.replace(";43;42;44;", ";43,0;42,00;44,0;"),
        csv.replace(",43,42,44,", ",43.0,42.00,44.0,"),
        quoted,
        trailing.clone(),
        trailing.replace(',', ";"),
    ];
    for text in saved {
        assert_eq!(
            import(&harbour, &text),
            [
                "cup 3: plate 2x4 rose 7",
                "cup 3: tile 1x2 weathered sand 43 (42-44)"
            ],
            "{text}"
        );
    }
    // What may be a thousand or one is not guessed at, nor is a part of a piece.
    for number in ["1.000", "1,000", "43,5"] {
        let text = semicolons.replace(";43;42;44;", &format!(";{number};42;44;"));
        fs::write(harbour.path("back.csv"), text).unwrap();
        harbour
            .run(&["stock", "import", "back.csv", "--recount"])
            .code(1)
            .says(&format!("line 3: count: '{number}' is no whole number"));
    }
    // A cell too many is a slip, and not nothing.
    let text = csv.replacen("checked\r\n", "checked,x\r\n", 1);
    fs::write(harbour.path("back.csv"), text).unwrap();
    harbour
        .run(&["stock", "import", "back.csv", "--recount"])
        .code(1)
        .says("line 2 has 9 of the 8 cells");
}

/// A plan is a table too.
#[test]
fn a_plan_comes_as_spreadsheets_save_it() {
    let (harbour, _) = exported();
    let plan = "module;wanted;form;size;count;colours;\r\nquay;3,0;plate;2x4;2;rose;\r\n;;;;;;\r\n";
    fs::write(harbour.path("quay.csv"), format!("\u{feff}{plan}")).unwrap();
    harbour
        .run(&["plan", "check", "quay.csv"])
        .code(0)
        .prints("3 modules, 6 pieces in all.");
}

/// A spreadsheet that parts cells by semicolons sees a cell begin in the middle of a name.
#[test]
fn nothing_behind_a_semicolon_is_taken_for_a_formula() {
    let harbour = Harbour::new();
    for (place, guarded) in [
        ("x;=1+1", "x;'=1+1"),
        ("y; @a;-b;'+c", "y; '@a;'-b;''+c"),
        ("plain; text", "plain; text"),
    ] {
        let args = ["stock", "put", "1 plate 2x4 rose", "--place", place];
        harbour.run(&args).code(0);
        let csv = harbour.run(&["stock", "export"]).code(0).out;
        assert!(csv.contains(guarded), "no {guarded} in {csv}");
    }
    let rows = harbour.checked_rows();
    let csv = harbour.run(&["stock", "export"]).code(0).out;
    assert_eq!(import(&harbour, csv), rows);
}
