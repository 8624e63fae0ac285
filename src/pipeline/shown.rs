//! What one photo shows, and the sheet that is made of it.

use super::piece::Whole;
use super::{
    Known, Scene, Seen, Targets, Unknown, card_look, card_report, colour_report, photo_faults,
    photo_ref, quality,
};
use crate::colour::Flaw;
use crate::colour::names::name_of;
use crate::count::features::PhotoQuality;
use crate::count::groups::{hidden, total};
use crate::count::reason::{is_about_the_form, is_about_the_list};
use crate::count::record::maps_id;
use crate::count::{Named, flaws, groups, name_colours};
use crate::numbers::round2;
use crate::photo::Photo;
use crate::pieces::Face;
use crate::pieces::paint::Paint;
use crate::sheet::advice::{self, Advice, Undersides};
use crate::sheet::faults::Fault;
use crate::sheet::file::{SetRightBy, Unexplained, Version};
use crate::sheet::{Piece, Sheet, Warning};

/// What one photo shows by itself, before it is put into words.
pub struct Shown<'a> {
    pub(super) photo: &'a Photo,
    pub(super) scene: &'a Scene,
    pub(super) seen: Vec<Seen>,
    pub(super) unknown: Vec<Unknown>,
    /// The pieces' colours, and the same under the other answer to whether the taught colours are all there are.
    pub(super) named: Vec<Named>,
    pub(super) otherwise: Vec<Named>,
    pub(super) flaws: Vec<Option<Flaw>>,
    pub(super) faults: Vec<Fault>,
    pub(super) quality: PhotoQuality,
    pub(super) is_taught: bool,
}

/// A piece of a photo with the name of its colour.
#[derive(Clone, Copy)]
pub struct NamedPiece<'a> {
    /// What stands where.
    pub seen: &'a Seen,
    /// Its colour.
    pub named: &'a Named,
    /// What spoils the reading of it.
    pub flaw: Option<Flaw>,
}

impl Shown<'_> {
    /// The pieces with their names.
    pub fn told(&self) -> impl Iterator<Item = NamedPiece<'_>> {
        let each = self.seen.iter().zip(&self.named).zip(&self.flaws);
        each.map(|((seen, named), flaw)| NamedPiece {
            seen,
            named,
            flaw: *flaw,
        })
    }

    /// What bears on every piece.
    pub fn quality(&self) -> &PhotoQuality {
        &self.quality
    }

    /// Whether colours were taught before.
    pub fn is_taught(&self) -> bool {
        self.is_taught
    }

    /// What bears on every piece of the photo.
    pub(super) fn whole<'a>(&'a self, known: &Known<'a>) -> Whole<'a> {
        Whole {
            faults: &self.faults,
            quality: &self.quality,
            home: known.record,
        }
    }
}

/// Names the colours of what [`look`](super::look) found in a measured photo.
pub fn shown<'a>(
    photo: &'a Photo,
    scene: &'a Scene,
    (seen, unknown): (Vec<Seen>, Vec<Unknown>),
    known: &Known,
) -> Shown<'a> {
    let paints: Vec<Paint> = seen.iter().map(|s| s.paint).collect();
    let colours = name_colours(&paints, known.book, &card_look(scene));
    let [mut named, mut otherwise] = [colours.named, colours.only_taught];
    let mut unlike = colours.unlike;
    if known.only_taught {
        std::mem::swap(&mut named, &mut otherwise);
        unlike = colours.only_taught_unlike;
    }
    Shown {
        photo,
        scene,
        faults: photo_faults(photo, scene, &paints),
        flaws: flaws(&paints),
        quality: quality(photo, scene, unlike),
        is_taught: known.book.is_some_and(|book| !book.names().is_empty()),
        seen,
        unknown,
        named,
        otherwise,
    }
}

/// What a person should know about a counted photo.
pub(super) fn warnings_of(
    shown: &Shown<'_>,
    pieces: &[Piece],
    unexplained: &[Unexplained],
    known: &Known,
) -> Vec<Warning> {
    advice::warnings(&Advice {
        untaught: known.book.is_none_or(|book| book.names().is_empty()),
        unlike: shown.quality.unlike,
        pieces,
        unexplained,
        at_edge: (shown.unknown.iter())
            .filter(|one| one.leftover.at_frame)
            .count(),
        cut: shown.seen.iter().filter(|s| s.piece.at_frame).count(),
        hidden: hidden(pieces),
        unlisted: (pieces.iter())
            .filter(|piece| piece.doubts.iter().any(|doubt| is_about_the_list(doubt)))
            .count(),
        undersides: undersides(pieces),
        ..without_pieces(shown.photo, shown.scene, &shown.faults)
    })
}

/// The sheet of a photo with these pieces.
pub(super) fn sheet_of(
    shown: &Shown<'_>,
    targets: &Targets,
    known: &Known,
    pieces: Vec<Piece>,
    unexplained: Vec<Unexplained>,
    warnings: Vec<Warning>,
) -> Sheet {
    Sheet {
        sheet: Version::V1,
        photos: photo_ref(shown.photo).into(),
        place: None,
        light: None,
        checked: false,
        only_taught: known.only_taught,
        set_right_by: known.record.map(|home| SetRightBy {
            sheets: home.sheets as u64,
            pieces: home.pieces,
        }),
        stated_by: Some(maps_id().to_owned()),
        card: card_report(shown.scene),
        colour: colour_report(shown.scene, targets),
        groups: groups(&pieces),
        total: Some(total(&pieces)),
        second_photo: None,
        pieces,
        unexplained,
        weighing: None,
        warnings,
        review: None,
    }
}

/// The doubtful pieces that show an underside which may be of another form.
fn undersides(pieces: &[Piece]) -> Undersides {
    let down = Face::Down.name();
    let open = |piece: &&Piece| {
        piece.face == down && piece.doubts.iter().any(|doubt| is_about_the_form(doubt))
    };
    let alone = |piece: &&Piece| piece.doubts.len() == 1;
    Undersides {
        all: pieces.iter().filter(open).count(),
        alone: pieces.iter().filter(open).filter(alone).count(),
    }
}

/// What a count of a photo would warn of, whatever pieces lie in it.
pub fn card_warnings(photo: &Photo, scene: &Scene) -> Vec<Warning> {
    let faults = photo_faults(photo, scene, &[]);
    let warnings = advice::warnings(&without_pieces(photo, scene, &faults));
    (warnings.into_iter())
        .filter(|warning| warning.code != "no-pieces")
        .collect()
}

/// What advice is drawn from where no piece is looked for.
fn without_pieces<'a>(photo: &'a Photo, scene: &'a Scene, faults: &'a [Fault]) -> Advice<'a> {
    Advice {
        notes: &photo.source.notes,
        card: &scene.card,
        pose: &scene.pose,
        patches: scene.patches.len(),
        residuals: scene.correction.residuals(),
        untaught: false,
        unlike: false,
        pieces: &[],
        unexplained: &[],
        faults,
        at_edge: 0,
        cut: 0,
        hidden: 0.0,
        unlisted: 0,
        undersides: Undersides::default(),
    }
}

pub(super) fn unexplained(scene: &Scene, unknown: &[Unknown]) -> Vec<Unexplained> {
    let mut spots: Vec<Unexplained> = unknown
        .iter()
        .filter_map(|Unknown { leftover, lab }| {
            let px = scene.pose.camera.project(leftover.at, 0.0)?;
            let [x_px, y_px] = scene.full_px(px.x, px.y);
            let (short, long) = leftover.sides_mm;
            Some(Unexplained {
                x_px,
                y_px,
                x_mm: round2(leftover.at.x),
                y_mm: round2(leftover.at.y),
                area_mm2: leftover.area_mm2.round(),
                sides_mm: Some([short, long].map(f64::round)),
                colour: lab.map(|lab| name_of(lab).to_owned()),
                lab: lab.map(|lab| lab.map(round2)),
            })
        })
        .collect();
    spots.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    spots
}
