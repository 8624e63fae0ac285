//! From a sheet to what the stock takes from it.

use super::kind::{Kind, KindError, Label, Name, PhotoHash, Size};
use super::lots::Lots;
use super::merge::Incoming;
use super::scene::Scene;
use super::tally::{Tally, TallyError};
use crate::sheet::review::SetCount;
use crate::sheet::{Group, Piece, Sheet};
use compact_str::CompactString;

/// Takes from a sheet what the stock keeps: kinds that pieces were counted as, and not what these may be
/// instead. `from` names the sheet in messages;
/// `place`, when given, goes before the sheet's own.
///
/// # Errors
/// When a name, size, hash or number in the sheet cannot be.
pub fn from_sheet(
    sheet: &Sheet,
    from: &Label,
    place: Option<&Name>,
) -> Result<Incoming, IncomingError> {
    let fault = |what: String, cause: String| IncomingError {
        from: from.clone(),
        what,
        cause,
    };
    let of_kind = |what: &str, cause: KindError| fault(what.to_owned(), cause.to_string());
    let hash = PhotoHash::try_from(sheet.photos.first.hash.clone())
        .map_err(|cause| of_kind("its photo", cause))?;
    let place = match (place, &sheet.place) {
        (Some(place), _) => Some(place.clone()),
        (None, Some(place)) => Some(Name::new(place).map_err(|cause| of_kind("its place", cause))?),
        (None, None) => None,
    };
    let mut lots = Lots::default();
    let counted = |(group, _): &(&Group, i32)| group.is_counted();
    for (group, number) in sheet.groups.iter().zip(1..).filter(counted) {
        let what = || format!("group {number}");
        let (kind, tally) = kind_and_tally(group, |cause| fault(what(), cause))?;
        let tally = tally
            .marked(unseen(sheet, group).min(tally.count()))
            .map_err(|cause| fault(what(), cause.to_string()))?;
        lots.add(&kind, tally)
            .map_err(|cause| fault(what(), cause.to_string()))?;
    }
    Ok(Incoming {
        from: from.clone(),
        file: Label::new(&sheet.photos.first.file),
        hash,
        place,
        checked: sheet.checked,
        scene: Scene::of(sheet),
        lots,
        may_be_posted: false,
    })
}

/// How many of a group were taken as counted. Of a sheet that nobody finished looking at these are
/// all that nobody looked at, but only where somebody began to look: else it goes without saying.
fn unseen(sheet: &Sheet, group: &Group) -> u64 {
    let is_set = sheet.review.as_ref().is_some_and(|review| {
        let of_group = |set: &&SetCount| {
            (&set.form, &set.size, &set.colour) == (&group.form, &group.size, &group.colour)
        };
        review.counts.iter().any(|set| of_group(&set))
    });
    let own = |piece: &&Piece| {
        (&piece.form, &piece.size, &piece.colour) == (&group.form, &group.size, &group.colour)
    };
    let own = || sheet.pieces.iter().filter(own);
    if is_set {
        0
    } else if sheet.checked {
        own().filter(|piece| piece.as_counted).count() as u64
    } else if sheet.pieces.iter().any(|piece| piece.looked_at) {
        let looked = own().filter(|piece| piece.looked_at).count() as u64;
        u64::from(group.count).saturating_sub(looked)
    } else {
        0
    }
}

fn kind_and_tally(
    group: &Group,
    fault: impl Fn(String) -> IncomingError,
) -> Result<(Kind, Tally), IncomingError> {
    let of_kind = |cause: KindError| fault(cause.to_string());
    let kind = Kind {
        form: Name::new(&group.form).map_err(of_kind)?,
        size: Size::try_from(CompactString::from(group.size.as_str())).map_err(of_kind)?,
        colour: Name::new(&group.colour).map_err(of_kind)?,
    };
    let tally = Tally::new(group.count.into(), group.low.into(), group.high.into())
        .map_err(|cause: TallyError| fault(format!("{kind}: {cause}")))?;
    Ok((kind, tally))
}

/// A sheet that says what cannot be.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{from} cannot be posted: in {what}, {cause}; count the photo again")]
pub struct IncomingError {
    /// The sheet.
    pub from: Label,
    /// Which part of it.
    pub what: String,
    /// Why.
    pub cause: String,
}
