//! CIEDE2000 against the 34 pairs published with the formula's implementation notes.

use cuptally::colour::lab::de00;

/// 5e-5: the published differences have four decimals.
#[test]
fn all_34_published_pairs_in_either_order() {
    let mut table = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path("tests/data/colour/ciede2000_pairs.csv")
        .unwrap();
    let mut rows = 0;
    for record in table.deserialize() {
        let (pair, l1, a1, b1, l2, a2, b2, expected): (u8, f64, f64, f64, f64, f64, f64, f64) =
            record.unwrap();
        rows += 1;
        assert_eq!(pair, rows);
        for got in [
            de00([l1, a1, b1], [l2, a2, b2]),
            de00([l2, a2, b2], [l1, a1, b1]),
        ] {
            assert!(
                (got - expected).abs() <= 5e-5,
                "pair {pair}: {got}, published {expected}"
            );
        }
    }
    assert_eq!(rows, 34);
}
