//! What is right and what is wrong about one photo's sheet, as numbers that can be added.

use std::collections::BTreeMap;

use cuptally::sheet::SURE;
use serde::{Deserialize, Serialize};

use crate::doubts::{ByReason, Faults, by_reason};
use crate::matching::matched;
use crate::program::{Said, SaidPiece};
use crate::truth::Truth;

/// Sums over the photos of one line of a table.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Figures {
    /// Photos in the line.
    pub photos: u32,
    /// Photos that were refused; all their pieces count as missed.
    pub refused_photos: u32,
    /// Pieces in the picture, those wholly under others with them.
    pub pieces: u32,
    /// Of these, pieces of which no pixel can be seen.
    pub hidden: u32,
    /// Pieces that were counted.
    pub counted: u32,
    /// |counted - true| of each photo.
    pub total_error: u32,
    /// Kinds of pieces (form, size, colour) that are there.
    pub groups: u32,
    /// Of these, those counted exactly.
    pub groups_exact: u32,
    /// |counted - true| of each kind of pieces, there or only said.
    pub group_error: u32,
    /// Kinds there or only said.
    pub ranges: u32,
    /// Of these, those whose true number is in the stated range; a kind that is not on
    /// the sheet has the range 0 to 0.
    pub ranges_hold: u32,
    /// Kinds said with a probability of [`SURE`] or more.
    pub groups_sure: u32,
    /// Of these, those whose count is wrong.
    pub groups_sure_wrong: u32,
    /// True pieces that were matched.
    pub found: u32,
    /// Visible pieces that were not.
    pub missed: u32,
    /// Counted pieces that match no true one.
    pub invented: u32,
    /// Pieces of which half or more can be seen.
    pub half_visible: u32,
    /// Of these, those that were matched.
    pub half_found: u32,
    /// Found pieces of the right size.
    pub size_right: u32,
    /// Found pieces of the right form.
    pub form_right: u32,
    /// Found pieces that show their form: all but undersides of plates and tiles.
    pub form_shown: u32,
    /// Of these, those of the right form.
    pub form_shown_right: u32,
    /// Found pieces of the right colour.
    pub colour_right: u32,
    /// Found pieces with all three right.
    pub all_right: u32,
    /// Counted pieces marked sure.
    pub sure: u32,
    /// Of these, those that are wrong or are no piece at all.
    pub sure_wrong: u32,
}

impl Figures {
    /// Adds another line.
    pub fn add(&mut self, other: &Self) {
        for (sum, part) in self.numbers().into_iter().zip(other.clone().numbers()) {
            *sum += *part;
        }
    }

    fn numbers(&mut self) -> [&mut u32; 26] {
        [
            &mut self.photos,
            &mut self.refused_photos,
            &mut self.pieces,
            &mut self.hidden,
            &mut self.counted,
            &mut self.total_error,
            &mut self.groups,
            &mut self.groups_exact,
            &mut self.group_error,
            &mut self.ranges,
            &mut self.ranges_hold,
            &mut self.groups_sure,
            &mut self.groups_sure_wrong,
            &mut self.found,
            &mut self.missed,
            &mut self.invented,
            &mut self.half_visible,
            &mut self.half_found,
            &mut self.size_right,
            &mut self.form_right,
            &mut self.form_shown,
            &mut self.form_shown_right,
            &mut self.colour_right,
            &mut self.all_right,
            &mut self.sure,
            &mut self.sure_wrong,
        ]
    }

    /// Missed, invented and wrong in form or size: what is wrong before colour.
    pub fn shape_faults(&self) -> u32 {
        let shape_right = self.size_right.min(self.form_right);
        self.missed + self.invented + self.found - shape_right
    }

    /// Missed, invented and wrong in anything.
    pub fn faults(&self) -> u32 {
        self.missed + self.invented + self.found - self.all_right
    }

    /// Found, but of the wrong colour.
    pub fn colour_faults(&self) -> u32 {
        self.found - self.colour_right
    }
}

/// A stated probability and whether what it was stated of is right.
pub type Stated = (f64, bool);

/// One photo judged.
pub struct Score {
    /// The sums.
    pub figures: Figures,
    /// Of each counted piece, what was stated.
    pub pieces: Vec<Stated>,
    /// Of each group on the sheet, what was stated.
    pub groups: Vec<Stated>,
    /// Counted pieces by the main reason of their doubt.
    pub reasons: ByReason,
    /// For each true piece the counted one.
    pub matches: Vec<Option<usize>>,
}

/// Judges a sheet; without one, every piece was missed.
pub fn score(truth: &Truth, said: Option<&Said>) -> Score {
    let nothing: &[SaidPiece] = &[];
    let counted = said.map_or(nothing, |s| &s.pieces);
    let matches = matched(truth, counted);
    let mut figures = Figures {
        photos: 1,
        refused_photos: u32::from(said.is_none()),
        counted: counted.len() as u32,
        ..Figures::default()
    };
    let mut faults = vec![Faults::INVENTED; counted.len()];
    let mut kinds: BTreeMap<(&str, &str, &str), u32> = BTreeMap::new();
    for (piece, found) in truth.pieces.iter().zip(&matches) {
        let visible = piece.x_px.is_some();
        // A piece beyond the picture's border is in no way part of it.
        if !visible && !truth.in_picture(piece.x_mm, piece.y_mm) {
            continue;
        }
        figures.pieces += 1;
        figures.hidden += u32::from(!visible);
        figures.half_visible += u32::from(piece.is_half_visible());
        *kinds
            .entry((&piece.form, &piece.size, &piece.colour))
            .or_default() += 1;
        let Some((index, said)) = found.and_then(|i| Some((i, counted.get(i)?))) else {
            figures.missed += u32::from(visible);
            continue;
        };
        let fault = Faults {
            invented: false,
            size: said.size != piece.size,
            form: said.form != piece.form,
            colour: said.colour != piece.colour,
        };
        figures.found += 1;
        figures.half_found += u32::from(piece.is_half_visible());
        figures.form_right += u32::from(!fault.form);
        figures.form_shown += u32::from(piece.shows_its_form());
        figures.form_shown_right += u32::from(piece.shows_its_form() && !fault.form);
        figures.size_right += u32::from(!fault.size);
        figures.colour_right += u32::from(!fault.colour);
        figures.all_right += u32::from(!fault.any());
        if let Some(place) = faults.get_mut(index) {
            *place = fault;
        }
    }
    figures.invented = figures.counted - figures.found;
    figures.total_error = figures.counted.abs_diff(figures.pieces);
    let stated = |(piece, fault): (&SaidPiece, &Faults)| (piece.sure, !fault.any());
    let pieces: Vec<Stated> = counted.iter().zip(&faults).map(stated).collect();
    figures.sure = sure(&pieces).count() as u32;
    figures.sure_wrong = sure(&pieces).filter(|(_, right)| !right).count() as u32;
    let groups = score_groups(&mut figures, kinds, said);
    Score {
        figures,
        pieces,
        groups,
        reasons: by_reason(counted, &faults),
        matches,
    }
}

fn sure(stated: &[Stated]) -> impl Iterator<Item = &Stated> {
    stated
        .iter()
        .filter(|(probability, _)| *probability >= SURE)
}

/// Compares the numbers of each kind; takes from `kinds` what the sheet tells of.
fn score_groups<'a>(
    figures: &mut Figures,
    mut kinds: BTreeMap<(&'a str, &'a str, &'a str), u32>,
    said: Option<&'a Said>,
) -> Vec<Stated> {
    figures.groups = kinds.len() as u32;
    let mut stated = Vec::new();
    for group in said.iter().flat_map(|s| &s.groups) {
        let key = (
            group.form.as_str(),
            group.size.as_str(),
            group.colour.as_str(),
        );
        let there = kinds.remove(&key);
        let number = there.unwrap_or(0);
        if number == 0 && group.count == 0 {
            // Nothing was said to be there and nothing is: that is no merit.
            continue;
        }
        let exact = number == group.count;
        figures.ranges += 1;
        figures.ranges_hold += u32::from(group.low <= number && number <= group.high);
        figures.group_error += number.abs_diff(group.count);
        figures.groups_exact += u32::from(there.is_some() && exact);
        if group.count > 0 {
            stated.push((group.sure, exact));
        }
    }
    // What is left is not on the sheet.
    figures.ranges += kinds.len() as u32;
    figures.group_error += kinds.values().sum::<u32>();
    figures.groups_sure = sure(&stated).count() as u32;
    figures.groups_sure_wrong = sure(&stated).filter(|(_, right)| !right).count() as u32;
    stated
}
