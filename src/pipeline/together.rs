//! Several photos of one tray, counted into one sheet.

use super::piece::{counted_as, in_reading_order, placed};
use super::{
    Known, Scene, Seen, Shown, Targets, card_report, photo_ref, sheet_of, unexplained, warnings_of,
};
use crate::colour::lab::de00;
use crate::count::Doubt;
use crate::count::doubt::{ToldBy, shape_together};
use crate::numbers::{round1, round2};
use crate::pieces::polygon::inside;
use crate::sheet::advice;
use crate::sheet::file::{InView, PhotoRef};
use crate::sheet::{Piece, Sheet, Warning};
use crate::together::Fused;

mod colour;
mod join;

use colour::{clearest, joined_name, told_by_all};
use join::sightings;

pub use join::{Evidence, Joined, join, shape_odds_of};

/// The photos of one tray, counted together.
pub struct Set {
    /// One sheet for all; its places are those of the first photo.
    pub sheet: Sheet,
    /// Which of the photos show another tray, by their place in the order given. They are left out.
    pub other_trays: Vec<usize>,
}

/// Counts photos of one tray at rest into one sheet. What [`super::shown`] says of each is joined; a photo of another tray
/// than the first is left out. `None` of no photo.
pub fn count_together(shown: &[Shown<'_>], targets: &Targets, known: &Known) -> Option<Set> {
    let odds = shape_odds_of(shown);
    let joined = join(shown, &odds)?;
    let Joined { shown, settled, .. } = &joined;
    let first = *shown.first()?;
    let mut pieces: Vec<Piece> = (0..joined.pieces.len())
        .filter_map(|number| piece(&joined, number, known))
        .collect();
    let moved_pieces = without_moved(&mut pieces);
    let pieces = in_reading_order(pieces, first.photo.full_px[1]);
    let left: Vec<_> = (first.unknown.iter())
        .filter(|spot| {
            let holds = |fused: &Fused| inside(&fused.stance.footprint(), spot.leftover.at);
            !joined.pieces.iter().any(|(_, fused)| holds(fused))
        })
        .cloned()
        .collect();
    let unexplained = unexplained(first.scene, &left);
    let mut warnings = warnings_of(first, &pieces, &unexplained, known);
    // A colour is taken from the photo that shows it best: one that is unlike the teaching takes no piece's sureness.
    if !shown.iter().all(|one| one.quality.unlike) {
        warnings.retain(|warning| warning.code != advice::UNLIKE);
    }
    for other in &shown[1..] {
        for warning in super::card_warnings(other.photo, other.scene) {
            let text = format!("{} (in {})", warning.text, other.photo.file);
            warnings.push(Warning { text, ..warning });
        }
    }
    for (k, mm) in &settled.moved {
        warnings.push(Warning {
            code: "tray-moved".to_owned(),
            text: format!(
                "between {} and {} the tray or the card was moved by some {mm:.0} mm, so that heights tell nothing; take the photos again without touching either",
                first.photo.file, shown[*k].photo.file
            ),
        });
    }
    if let Some(k) = settled.untold.first() {
        warnings.push(Warning {
            code: "heights-untold".to_owned(),
            text: format!(
                "too few pieces are plain in both {} and {} to tell whether the tray lay still between them, so that heights are not used",
                first.photo.file, shown[*k].photo.file
            ),
        });
    }
    warnings.extend(moved_pieces);
    let mut sheet = sheet_of(first, targets, known, pieces, unexplained, warnings);
    let others = shown[1..].iter().map(|one| PhotoRef {
        card: Some(Box::new(card_report(one.scene))),
        ..photo_ref(one.photo)
    });
    sheet.photos.others = others.collect();
    Some(Set {
        sheet,
        other_trays: joined.other_trays,
    })
}

/// A joined piece as the sheet has it.
fn piece(joined: &Joined<'_>, number: usize, known: &Known) -> Option<Piece> {
    let Joined { shown, views, .. } = joined;
    let (instance, fused) = joined.pieces.get(number)?;
    let by = sightings(instance);
    let (k, i) = clearest(shown, &by)?;
    let one = shown.get(k)?;
    let mut seen: Seen = one.seen.get(i)?.clone();
    seen.piece.stance = fused.stance;
    // The photo's own place has the outline that it shows.
    let in_first = fused.places.first().copied().flatten();
    seen.piece.stance.at = in_first.unwrap_or(fused.stance.at);
    // Form and size are told by all photos together.
    (seen.piece.form_p, seen.piece.other_form) = (1.0, None);
    let told = joined.of_shape(number)?;
    let mut odds = fused.odds.clone().with(shape_together(&told));
    if told.missed {
        odds.doubts.push(Doubt::OnePhoto);
    }
    let names = (one.named.get(i)?, one.otherwise.get(i)?);
    let named = joined_name(shown, &by, (k, i), |one| &one.named, names.0);
    let otherwise = joined_name(shown, &by, (k, i), |one| &one.otherwise, names.1);
    let names = (
        told_by_all(shown, &by, (k, i), |one| &one.named, &named),
        told_by_all(shown, &by, (k, i), |one| &one.otherwise, &otherwise),
    );
    let flaw = one.flaws.get(i).copied().flatten();
    let whole = one.whole(known);
    let first = shown.first()?;
    let by_all = (ToldBy::Several, flaw);
    let mut piece = counted_as(first.scene, &seen, &odds, names, by_all, whole)?;
    if views.len() > 1 {
        piece.seen_in = by.iter().map(|(k, _)| *k as u32 + 1).collect();
    }
    piece.height_mm = fused.height_mm.map(round1);
    piece.views = (1..shown.len())
        .filter(|k| views[*k].shows(&fused.stance))
        .filter_map(|k| {
            let mut there = seen.clone();
            let own = fused.places.get(k).copied().flatten();
            there.piece.stance.at = views[k].drift.done(own.unwrap_or(fused.stance.at));
            in_view(shown[k].scene, &there, k)
        })
        .collect();
    (piece.x_mm, piece.y_mm) = (round2(fused.stance.at.x), round2(fused.stance.at.y));
    Some(piece)
}

/// Where a piece lies in another photo.
fn in_view(scene: &Scene, there: &Seen, k: usize) -> Option<InView> {
    let placed = placed(scene, there)?;
    Some(InView {
        photo: k as u32 + 1,
        x_px: placed.x_px,
        y_px: placed.y_px,
        outline_px: placed.outline_px,
    })
}

/// A piece's colour by two photos is no further apart than this, in nineteen of twenty pieces of the poured set in
/// `sample-photos/tune` (17.6, where one of the photos is too bright); general names may differ though.
const ONE_COLOUR_DE00: f64 = 20.0;

/// Takes pieces out that seem to have been moved between the photos, where they lay in the later one, and says so. The one
/// that stays is doubtful.
fn without_moved(pieces: &mut Vec<Piece>) -> Option<Warning> {
    let one_photo = Doubt::OnePhoto.text();
    let lone = |piece: &Piece| piece.doubts.contains(&one_photo);
    let alike = |a: &Piece, b: &Piece| {
        (&a.form, &a.size) == (&b.form, &b.size)
            && (a.colour == b.colour || de00(a.lab, b.lab) < ONE_COLOUR_DE00)
            && a.seen_in.iter().max() < b.seen_in.iter().min()
    };
    let mut gone: Vec<usize> = Vec::new();
    for k in 0..pieces.len() {
        let twin = (0..pieces.len()).find(|other| {
            let both = lone(&pieces[k]) && lone(&pieces[*other]);
            both && !gone.contains(other) && alike(&pieces[k], &pieces[*other])
        });
        if let Some(twin) = twin.filter(|_| !gone.contains(&k)) {
            gone.push(twin);
            for doubt in pieces[k]
                .doubts
                .iter_mut()
                .filter(|doubt| **doubt == one_photo)
            {
                *doubt = Doubt::Moved.text();
            }
        }
    }
    let mut number = 0..;
    pieces.retain(|_| number.next().is_none_or(|k| !gone.contains(&k)));
    let (count, are, each) = match gone.len() {
        0 => return None,
        1 => ("a piece".to_owned(), "lies", "it is"),
        n => (format!("{n} pieces"), "lie", "each is"),
    };
    Some(Warning {
        code: "piece-moved".to_owned(),
        text: format!(
            "{count} {are} elsewhere in another photo; {each} counted once and doubtful, so look there, or take the photos again without touching a piece"
        ),
    })
}
