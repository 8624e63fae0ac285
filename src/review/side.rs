//! Pieces side by side: by colour, then by form and size, and in what order.

use std::collections::BTreeMap;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::colour::lab::de00;
use crate::count::reason::NEW_COLOUR;
use crate::numbers::median;
use crate::sheet::Piece;

use super::shown::Look;
use super::totals::is_open;
use super::vocabulary::ANY;

/// From one stud's middle to the next, mm.
const PITCH_MM: f64 = 8.0;
/// Shown around a piece on each side, mm: half a stud more than called would stand out, and the flank of a brick that
/// leans away from the lens is still in.
const AROUND_MM: f64 = 5.0;
/// From this covered share on a crop shows more of other pieces than of this one.
const MOSTLY_COVERED: f64 = 0.5;
/// So many other readings are named beside a colour.
const MOST_NEAR: usize = 3;
/// So many colours are offered for a piece because it looks like them; more would push out other readings, as there are
/// nine keys.
const MOST_LIKE: usize = 3;

/// All pieces of one colour that can be laid side by side.
#[derive(Debug, Serialize)]
pub struct Row<'a> {
    /// The colour.
    pub colour: &'a str,
    /// Whether that is a general name for what nobody taught, so that it still has to be named.
    pub untaught: bool,
    /// What its doubtful pieces could be instead, by how likely that is of all of them together; then, of what nobody taught,
    /// what it looks most like.
    pub near: Vec<&'a str>,
    /// Its pieces by form and size, in the order in which they are shown.
    pub crops: Vec<Crop<'a>>,
}

/// One piece side by side with others.
#[derive(Debug, Serialize)]
pub struct Crop<'a> {
    /// Which piece.
    pub id: u32,
    /// Form, as in a piece.
    pub form: &'a str,
    /// Size, as in a piece.
    pub size: &'a str,
    /// Width and height of what the crop shows; the same for all of a size.
    pub box_mm: [f64; 2],
    /// Which state of the piece the crop shows: another outline is another picture.
    pub look: String,
    /// The colours that a doubtful piece looks most like, besides its own.
    pub like: Vec<&'a str>,
}

/// A piece that can be laid beside its like, and its studs: see [`placed`].
type Placed<'a> = (&'a Piece, [u32; 2]);

/// Every one of these pieces that can be laid side by side with its like. Within a form and size the doubtful ones come first,
/// then the sure ones; within both, those whose colour lies furthest (CIEDE2000) from the middle of all that are called by
/// that colour come last. Colours that nobody taught come after all others.
pub fn rows<'a>(pieces: &'a [Piece], looks: &[Look<'a>]) -> Vec<Row<'a>> {
    let mut colours: BTreeMap<(bool, &str), Vec<Placed<'_>>> = BTreeMap::new();
    for piece in pieces {
        if let Some(studs) = placed(piece) {
            colours
                .entry((is_untaught(piece), &piece.colour))
                .or_default()
                .push((piece, studs));
        }
    }
    (colours.into_iter())
        .map(|(colour, pieces)| row_of(colour, pieces, looks))
        .collect()
}

fn row_of<'a>(
    (untaught, colour): (bool, &'a str),
    mut pieces: Vec<Placed<'a>>,
    looks: &[Look<'a>],
) -> Row<'a> {
    let middle = middle_of(&pieces);
    let mut near = near(colour, &pieces);
    if untaught {
        let others = nearest(middle, colour, looks).filter(|name| !near.contains(name));
        let others: Vec<&str> = others.take(MOST_NEAR).collect();
        near.extend(others);
        near.truncate(MOST_NEAR);
    }
    pieces.sort_by(|(a, studs_a), (b, studs_b)| {
        (&a.form, studs_a)
            .cmp(&(&b.form, studs_b))
            // What is open comes first, and stays there once it was looked at.
            .then_with(|| was_sure(a).cmp(&was_sure(b)))
            .then_with(|| de00(middle, a.lab).total_cmp(&de00(middle, b.lab)))
            .then_with(|| a.id.cmp(&b.id))
    });
    let crop = |(piece, studs): Placed<'a>| Crop {
        id: piece.id,
        form: &piece.form,
        size: &piece.size,
        box_mm: box_mm(studs),
        look: look_of(piece),
        like: if is_open(piece) {
            like(piece, looks)
        } else {
            Vec::new()
        },
    };
    Row {
        colour,
        untaught,
        near,
        crops: pieces.into_iter().map(crop).collect(),
    }
}

fn was_sure(piece: &Piece) -> bool {
    !is_open(piece)
}

/// Whether a piece has a colour that nobody taught, and nobody has said yet what it is called.
fn is_untaught(piece: &Piece) -> bool {
    is_open(piece) && piece.doubts.iter().any(|doubt| doubt == NEW_COLOUR)
}

/// The studs of a piece that can be laid beside its like, small side first; none where its form or size is not told, or more
/// than half of it is hidden.
pub fn placed(piece: &Piece) -> Option<[u32; 2]> {
    if piece.form == ANY || piece.covered >= MOSTLY_COVERED {
        return None;
    }
    let (short, long) = piece.size.split_once('x')?;
    let studs = [short.parse().ok()?, long.parse().ok()?];
    // Longer than any listed piece is no size that a crop could show.
    studs
        .iter()
        .all(|side| (1..=64).contains(side))
        .then_some(studs)
}

/// What a crop shows, along the long side and across.
pub fn box_mm([short, long]: [u32; 2]) -> [f64; 2] {
    [long, short].map(|side| f64::from(side) * PITCH_MM + 2.0 * AROUND_MM)
}

/// Which picture a crop of a piece is: the beginning of a SHA-256 of all that it depends on.
pub fn look_of(piece: &Piece) -> String {
    let drawn = (&piece.size, &piece.form, piece.turn_deg, &piece.outline_px);
    // Numbers of a sheet are finite, as JSON knows no others.
    let digest = Sha256::digest(serde_json::to_vec(&drawn).unwrap_or_default());
    digest.iter().take(6).map(|b| format!("{b:02x}")).collect()
}

fn middle_of(pieces: &[Placed<'_>]) -> [f64; 3] {
    let of = |k: usize| median(pieces.iter().map(|(piece, _)| piece.lab[k]));
    [0, 1, 2].map(|k| of(k).unwrap_or_default())
}

/// The taught colours, or where there is none all of the sheet, to which a piece's own lies nearest (CIEDE2000).
fn like<'a>(piece: &Piece, looks: &[Look<'a>]) -> Vec<&'a str> {
    nearest(piece.lab, &piece.colour, looks)
        .take(MOST_LIKE)
        .collect()
}

/// Those colours but `own`, the nearest to `lab` first.
fn nearest<'a>(
    lab: [f64; 3],
    own: &str,
    looks: &[Look<'a>],
) -> impl Iterator<Item = &'a str> + use<'a> {
    let is_any_taught = looks.iter().any(|look| look.taught);
    let others = looks.iter().filter(|look| look.name != own);
    let others = others.filter(|look| look.taught || !is_any_taught);
    let mut others: Vec<(f64, &str)> = others
        .map(|look| (de00(lab, look.lab), look.name))
        .collect();
    others.sort_by(|a, b| a.0.total_cmp(&b.0));
    others.into_iter().map(|(_, name)| name)
}

/// The colours that the doubtful ones could be, by the sum of how likely that is.
fn near<'a>(colour: &str, pieces: &[Placed<'a>]) -> Vec<&'a str> {
    let mut sums: BTreeMap<&str, f64> = BTreeMap::new();
    let open = pieces.iter().filter(|(piece, _)| is_open(piece));
    for other in open.flat_map(|(piece, _)| &piece.instead) {
        if other.colour != colour {
            *sums.entry(&other.colour).or_default() += other.sure;
        }
    }
    let mut sums: Vec<(&str, f64)> = sums.into_iter().collect();
    sums.sort_by(|a, b| b.1.total_cmp(&a.1));
    sums.into_iter()
        .map(|(name, _)| name)
        .take(MOST_NEAR)
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;
    use crate::sheet::Instead;

    fn piece(id: u32, size: &str, sure: f64, lightness: f64) -> Piece {
        Piece {
            id,
            form: "plate".into(),
            size: size.into(),
            colour: "tar".into(),
            sure,
            lab: [lightness, 0.0, 0.0],
            ..Piece::default()
        }
    }

    fn order(pieces: Vec<Piece>) -> Vec<u32> {
        let pieces: Vec<Placed<'_>> = pieces
            .iter()
            .filter_map(|piece| Some((piece, placed(piece)?)))
            .collect();
        let row = row_of((false, "tar"), pieces, &[]);
        row.crops.iter().map(|crop| crop.id).collect()
    }

    #[test]
    fn doubtful_pieces_come_first_and_outliers_last_in_either() {
        let all = vec![
            piece(1, "2x4", 0.95, 40.0),
            piece(2, "2x4", 0.5, 35.0),
            piece(3, "2x4", 0.95, 21.0),
            piece(4, "2x4", 0.5, 20.0),
            piece(5, "2x4", 0.95, 20.0),
            // Small before large, by number and not by letter.
            piece(6, "1x10", 0.5, 20.0),
            piece(7, "1x2", 0.95, 20.0),
        ];
        assert_eq!(order(all), [7, 6, 4, 2, 5, 3, 1]);
    }

    #[test]
    fn what_cannot_be_laid_beside_its_like_is_left_out() {
        let whole = piece(1, "2x4", 0.5, 20.0);
        assert_eq!(placed(&whole), Some([2, 4]));
        let without = |change: &dyn Fn(&mut Piece)| {
            let mut piece = whole.clone();
            change(&mut piece);
            placed(&piece)
        };
        assert_eq!(without(&|p| p.form = ANY.into()), None);
        assert_eq!(without(&|p| p.covered = 0.5), None);
        for size in ["", "2", "2x", "axb", "2x4x6", "0x4", "2x65", "-1x2"] {
            assert_eq!(without(&|p| p.size = size.into()), None, "{size}");
        }
    }

    #[test]
    fn the_likeliest_other_colours_are_named() {
        let mut all = [piece(1, "2x4", 0.5, 20.0), piece(2, "2x2", 0.5, 20.0)];
        let other = |colour: &str, sure: f64| Instead {
            form: "plate".into(),
            size: "2x4".into(),
            colour: colour.into(),
            sure,
        };
        all[0].instead = vec![
            other("charcoal", 0.2),
            other("tar", 0.2),
            other("rope", 0.15),
        ];
        all[1].instead = vec![
            other("rope", 0.15),
            other("kelp", 0.01),
            other("fog", 0.001),
        ];
        let placed: Vec<Placed<'_>> = all.iter().map(|p| (p, [2, 4])).collect();
        assert_eq!(near("tar", &placed), ["rope", "charcoal", "kelp"]);
    }

    #[test]
    fn what_nobody_taught_comes_last_with_what_it_looks_most_like() {
        let look = |name, lightness: f64| Look {
            name,
            lab: [lightness, 0.0, 0.0],
            taught: true,
        };
        let looks = [look("tar", 20.0), look("fog", 70.0), look("slate", 40.0)];
        let mut pieces = [piece(1, "2x4", 0.5, 35.0), piece(2, "2x4", 0.5, 20.0)];
        pieces[0].colour = "dark grey".into();
        pieces[0].doubts = vec![NEW_COLOUR.into()];
        let told: Vec<(bool, &str)> = (rows(&pieces, &looks).iter())
            .map(|row| (row.untaught, row.colour))
            .collect();
        assert_eq!(told, [(false, "tar"), (true, "dark grey")]);
        assert_eq!(rows(&pieces, &looks)[1].near, ["slate", "tar", "fog"]);
        // Once a person looked at it that is its name.
        pieces[0].looked_at = true;
        let row = &rows(&pieces, &looks)[0];
        assert_eq!((row.untaught, row.colour), (false, "dark grey"));
        assert!(row.near.is_empty());
    }

    #[test]
    fn a_doubtful_piece_may_be_what_it_looks_like() {
        let look = |name, lightness: f64, taught| Look {
            name,
            lab: [lightness, 0.0, 0.0],
            taught,
        };
        let mut looks = vec![
            look("tar", 20.0, true),
            look("fog", 70.0, true),
            look("slate", 40.0, true),
            look("charcoal", 30.0, true),
            look("gull", 90.0, true),
            look("dark grey", 21.0, false),
        ];
        let piece = piece(1, "2x4", 0.5, 20.0);
        assert_eq!(like(&piece, &looks), ["charcoal", "slate", "fog"]);
        looks.iter_mut().for_each(|look| look.taught = false);
        assert_eq!(like(&piece, &looks)[0], "dark grey");
    }

    #[test]
    fn another_outline_is_another_look() {
        let one = piece(1, "2x4", 0.5, 20.0);
        let mut other = one.clone();
        other.looked_at = true;
        other.colour = "charcoal".into();
        assert_eq!(look_of(&one), look_of(&other));
        other.outline_px = vec![[0.0, 0.0]];
        assert_ne!(look_of(&one), look_of(&other));
    }
}
