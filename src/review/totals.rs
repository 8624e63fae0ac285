//! Groups from corrected pieces, and what is left to look at.

use std::collections::BTreeMap;

use crate::count::{groups, hidden};
use crate::numbers::round3;
use crate::sheet::review::{Guess, SetCount};
use crate::sheet::{Group, Piece, SURE, Sheet};

/// Form, size, colour.
type Key = (String, String, String);

fn key(group: &Group) -> Key {
    (group.form.clone(), group.size.clone(), group.colour.clone())
}

/// What a counted group holds beyond what its pieces say, such as the hidden part of
/// a pile: it stays, whatever is put right among the pieces.
#[derive(Clone, Copy, Default)]
struct Beyond {
    count: i64,
    low: i64,
    high: i64,
    sure: f64,
}

/// The groups of corrected pieces. A piece that a person looked at is certain, so its
/// group's range shrinks; a number set outright goes before everything.
pub fn regroup(guess: &Guess, pieces: &[Piece], counts: &[SetCount]) -> Vec<Group> {
    if counts.is_empty() && pieces == guess.pieces {
        return guess.groups.clone();
    }
    let mut widths: BTreeMap<Key, u32> = BTreeMap::new();
    for group in &guess.groups {
        *widths.entry(key(group)).or_default() += group.high.saturating_sub(group.low);
    }
    let mut beyond: BTreeMap<Key, Beyond> = BTreeMap::new();
    for group in &guess.groups {
        let more = beyond.entry(key(group)).or_insert(Beyond {
            sure: 1.0,
            ..Beyond::default()
        });
        more.count += i64::from(group.count);
        more.low += i64::from(group.low);
        more.high += i64::from(group.high);
        more.sure = more.sure.min(group.sure);
    }
    for group in groups(&guess.pieces) {
        if let Some(more) = beyond.get_mut(&key(&group)) {
            more.count -= i64::from(group.count);
            more.low -= i64::from(group.low);
            more.high -= i64::from(group.high);
        }
    }
    beyond.retain(|_, more| (more.count, more.low, more.high) != (0, 0, 0));
    let mut found: BTreeMap<Key, Group> = groups(pieces)
        .into_iter()
        .map(|group| (key(&group), group))
        .collect();
    for (key, more) in beyond {
        let (form, size, colour) = key.clone();
        let group = found.entry(key).or_insert(Group {
            form,
            size,
            colour,
            count: 0,
            low: 0,
            high: 0,
            sure: 1.0,
        });
        group.count = plus(group.count, more.count);
        group.low = plus(group.low, more.low).min(group.count);
        group.high = plus(group.high, more.high).max(group.count);
        group.sure = round3(group.sure.min(more.sure));
    }
    for set in counts {
        let key = (set.form.clone(), set.size.clone(), set.colour.clone());
        let group = Group {
            form: set.form.clone(),
            size: set.size.clone(),
            colour: set.colour.clone(),
            count: set.count,
            low: set.count,
            high: set.count,
            sure: 1.0,
        };
        found.insert(key, group);
    }
    if hidden(pieces) == 0.0 {
        for (key, group) in &mut found {
            no_wider(group, widths.get(key).copied().unwrap_or(0));
        }
    }
    found.into_values().filter(|group| group.high > 0).collect()
}

/// Looking never widens a range. What it leaves to chance is less than before, but a quantile is a
/// whole number: with one chance fewer it may fall on the other side of a piece. Where pieces hide
/// others, the hidden ones go with the kinds that are seen, and a range may move from kind to kind.
fn no_wider(group: &mut Group, width: u32) {
    let excess = (group.high - group.low).saturating_sub(width);
    let up = excess.min(group.count - group.low);
    group.low += up;
    group.high -= excess - up;
}

fn plus(number: u32, change: i64) -> u32 {
    u32::try_from((i64::from(number) + change).max(0)).unwrap_or(u32::MAX)
}

/// Whether a person should look at a piece.
pub fn is_open(piece: &Piece) -> bool {
    !piece.looked_at && !piece.as_counted && piece.sure < SURE
}

/// How much is left to look at: doubtful pieces, and places that nothing explains.
pub fn left(sheet: &Sheet) -> (usize, usize) {
    let pieces = sheet.pieces.iter().filter(|piece| is_open(piece)).count();
    (pieces, sheet.unexplained.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn piece(id: u32, size: &str, sure: f64) -> Piece {
        Piece {
            id,
            form: "plate".into(),
            size: size.into(),
            colour: "kelp".into(),
            sure,
            ..Piece::default()
        }
    }

    fn numbers(groups: &[Group], size: &str) -> Option<(u32, u32, u32)> {
        let group = groups.iter().find(|group| group.size == size)?;
        Some((group.count, group.low, group.high))
    }

    #[test]
    fn a_piece_that_was_looked_at_narrows_the_range() {
        let pieces = vec![piece(1, "2x4", 0.999), piece(2, "2x4", 0.6)];
        let guess = Guess {
            groups: groups(&pieces),
            pieces: pieces.clone(),
            ..Guess::default()
        };
        assert_eq!(numbers(&guess.groups, "2x4"), Some((2, 1, 2)));
        let mut looked = pieces;
        looked[1].sure = 1.0;
        looked[1].looked_at = true;
        assert_eq!(
            numbers(&regroup(&guess, &looked, &[]), "2x4"),
            Some((2, 2, 2))
        );
    }

    /// A pile's hidden part is in the groups and in no piece: looking at the pieces on
    /// top must not make it go away.
    #[test]
    fn what_was_counted_beyond_the_pieces_stays() {
        let pieces = vec![piece(1, "2x4", 0.6), piece(2, "2x2", 0.999)];
        let mut counted = groups(&pieces);
        counted[1].high += 5;
        counted.push(Group {
            size: "1x1".into(),
            ..counted[0].clone()
        });
        let guess = Guess {
            groups: counted.clone(),
            pieces: pieces.clone(),
            ..Guess::default()
        };
        assert_eq!(regroup(&guess, &pieces, &[]), counted);
        let mut looked = pieces;
        looked[0].sure = 1.0;
        looked[0].looked_at = true;
        let now = regroup(&guess, &looked, &[]);
        assert_eq!(numbers(&now, "2x4"), Some((1, 1, 6)));
        assert_eq!(numbers(&now, "1x1"), Some((1, 1, 1)));
        // With the piece gone its group has only the pile's part left.
        let now = regroup(&guess, &looked[1..], &[]);
        assert_eq!(numbers(&now, "2x4"), Some((0, 0, 5)));
    }

    #[test]
    fn looking_at_one_piece_never_widens_the_range_of_another() {
        // 0.9749 alone may be none in more than 2.5 %; with a second chance for the same kind it may not.
        let mut other = piece(2, "2x2", 0.996);
        other.instead.push(crate::sheet::Instead {
            form: "plate".into(),
            size: "2x4".into(),
            colour: "kelp".into(),
            sure: 0.004,
        });
        let pieces = vec![piece(1, "2x4", 0.9749), other];
        let guess = Guess {
            groups: groups(&pieces),
            pieces: pieces.clone(),
            ..Guess::default()
        };
        assert_eq!(numbers(&guess.groups, "2x4"), Some((1, 1, 1)));
        let mut looked = pieces;
        looked[1].sure = 1.0;
        looked[1].looked_at = true;
        looked[1].instead.clear();
        assert_eq!(numbers(&groups(&looked), "2x4"), Some((1, 0, 1)));
        let now = regroup(&guess, &looked, &[]);
        assert_eq!(numbers(&now, "2x4"), Some((1, 1, 1)));
    }

    #[test]
    fn a_piece_taken_as_counted_keeps_its_doubt() {
        let pieces = vec![piece(1, "2x4", 0.999), piece(2, "2x4", 0.6)];
        let guess = Guess {
            groups: groups(&pieces),
            pieces: pieces.clone(),
            ..Guess::default()
        };
        let mut taken = pieces;
        taken[1].as_counted = true;
        assert!(!is_open(&taken[1]));
        assert_eq!(
            numbers(&regroup(&guess, &taken, &[]), "2x4"),
            Some((2, 1, 2))
        );
    }

    #[test]
    fn a_number_set_outright_goes_before_the_pieces() {
        let pieces = vec![piece(1, "2x4", 0.6)];
        let guess = Guess {
            groups: groups(&pieces),
            pieces: pieces.clone(),
            ..Guess::default()
        };
        let set = |size: &str, count| SetCount {
            form: "plate".into(),
            size: size.into(),
            colour: "kelp".into(),
            count,
            reason: "pile in the corner".into(),
        };
        let now = regroup(&guess, &pieces, &[set("2x4", 12), set("1x1", 3)]);
        assert_eq!(numbers(&now, "2x4"), Some((12, 12, 12)));
        assert_eq!(numbers(&now, "1x1"), Some((3, 3, 3)));
        assert!(now.iter().all(|group| group.sure == 1.0));
        assert_eq!(
            numbers(&regroup(&guess, &pieces, &[set("2x4", 0)]), "2x4"),
            None
        );
    }
}
