//! An instance that the net proposes, and the piece that edges make of it: its own reading, the other forms of that
//! footprint, and sizes of a little more or less.

use super::face::Face;
use super::find::{Sight, is_piece, reported};
use super::found::{FoundPiece, Said, Witness};
use super::learned::{Proposal, is_taught};
use super::odd::{instead_of, odd_reading, twin_on_side};
use super::refine::{Bench, Score};
use super::search::Search;
use super::shade::Shade;
use super::shape::{PITCH_MM, Shape};
use super::stance::Stance;

/// From this probability on the net's word counts where a piece lies alone.
pub(super) const NET_KNOWS: f64 = 0.9;
/// From this probability and score on it even divides what edges show as one whole.
const BEYOND_DOUBT: f64 = 0.98;
const BEYOND_DOUBT_SCORE: f64 = 0.9;
/// How far edges may move a proposal, mm and radians: what is further is another piece's edge.
const MOST_MOVED: (f64, f64) = (2.5, 0.12);
/// What the net says is never beyond doubt.
pub(super) const SAID: f64 = 0.999;

/// From this probability on the net's word against the edges' leaves a form open.
const FORM_TOLD: f64 = 0.8;
/// Score from which the net sees a piece well.
pub(super) const NET_SEES: f64 = 0.8;

/// An instance that the net proposes.
pub(super) struct Instance<'a> {
    pub(super) proposal: &'a Proposal,
    pub(super) stance: Stance,
    pub(super) shade: Shade,
    pub(super) used: bool,
}

impl<'a> Instance<'a> {
    pub(super) fn of(proposal: &'a Proposal, sight: &Sight<'_>) -> Self {
        // The net tells how the box's longer side is turned, whichever of the piece's it is.
        let along = match proposal.face {
            Face::End => proposal.shape.short_mm(),
            _ => proposal.shape.long_mm(),
        };
        let flat = proposal.face.is_flat();
        let is_along = flat || (along - proposal.lies.long_mm).abs() < 1e-6;
        let quarter = if is_along {
            0.0
        } else {
            std::f64::consts::FRAC_PI_2
        };
        let stance = Stance {
            shape: proposal.shape,
            face: proposal.face,
            at: proposal.at,
            turn: proposal.turn + quarter,
        };
        Self {
            proposal,
            stance,
            shade: Shade::of(&stance.silhouette(sight.camera)),
            used: false,
        }
    }

    /// Whether it has the size of a piece and lies as flat as that does.
    pub(super) fn has_footprint_of(&self, stance: &Stance) -> bool {
        self.stance.shape.has_footprint_of(stance.shape)
            && self.stance.face.is_flat() == stance.face.is_flat()
    }

    /// Whether both come from the same cells of the net.
    pub(super) fn is_about(&self, other: &Self) -> bool {
        self.proposal.seen == other.proposal.seen
    }

    /// Whether the net leaves nothing open about it.
    pub(super) fn is_beyond_doubt(&self) -> bool {
        self.proposal.p > BEYOND_DOUBT && self.proposal.score > BEYOND_DOUBT_SCORE
    }

    pub(super) fn said(&self) -> Said {
        let own = self.proposal.shape;
        let others = self.proposal.runners_up.iter();
        let alike = others
            .filter(|o| o.shape.has_footprint_of(own))
            .map(|o| o.p);
        Said {
            size_p: (self.proposal.p + alike.sum::<f64>()).min(1.0),
            allowed_p: self.proposal.allowed_p,
            score: self.proposal.score,
            visible: self.proposal.visible,
        }
    }

    /// The shapes of its footprint, likeliest first, each with its probability among them.
    pub(super) fn forms(&self) -> Vec<(Shape, f64)> {
        let own = (self.proposal.shape, self.proposal.p);
        let others = self.proposal.runners_up.iter().map(|o| (o.shape, o.p));
        let mut forms: Vec<(Shape, f64)> = Vec::new();
        for (shape, p) in std::iter::once(own).chain(others) {
            if !shape.has_footprint_of(own.0) {
                continue;
            }
            match forms.iter_mut().find(|(form, _)| *form == shape) {
                Some((_, sum)) => *sum += p,
                None => forms.push((shape, p)),
            }
        }
        let all: f64 = forms.iter().map(|(_, sum)| sum).sum();
        for (_, sum) in &mut forms {
            *sum /= all.max(1e-9);
        }
        forms.sort_by(|a, b| b.1.total_cmp(&a.1));
        forms
    }

    /// The piece, where edges say that it is, and the best reading by a shape that the net was not
    /// taught.
    pub(super) fn piece(
        &self,
        bench: &Bench<'_>,
        search: &Search,
    ) -> (FoundPiece, Option<(Stance, Score)>) {
        let (mut stance, mut score): (Stance, Score) = bench.refine(self.stance);
        let turned = (stance.turn - self.stance.turn).abs();
        if stance.at.distance(self.stance.at) > MOST_MOVED.0 || turned > MOST_MOVED.1 {
            stance = self.stance;
            score = bench.score(&stance);
        }
        let odd = odd_reading(&stance, bench, search);
        let rival = odd.map(|(other, its)| (other.shape, score.total - its.total));
        let outline = stance.silhouette(bench.camera);
        let shape = stance.shape;
        let others = &self.proposal.runners_up;
        let runner_up = (others.iter()).find(|o| !o.shape.has_footprint_of(shape));
        let forms = self.forms();
        let form_p = forms.first().map_or(1.0, |(_, p)| *p);
        let piece = FoundPiece {
            runner_up: runner_up.map(|o| (o.shape, score.total)),
            rival,
            twin_on_side: twin_on_side(&stance, search),
            other_form: forms.get(1).map(|(other, _)| (*other, score.total)),
            form_p: form_p.min(SAID),
            at_frame: outline.iter().any(|p| bench.view.sample(*p).is_none()),
            ..FoundPiece::of(stance, &score, Witness::Net(self.said()))
        };
        (piece, odd)
    }

    /// The piece, where the net leaves nothing open about its size and edges and areas find the same, in the same place,
    /// better than one of another size there.
    pub(super) fn confirmed(&self, bench: &Bench<'_>, search: &Search) -> Option<FoundPiece> {
        let proposal = self.proposal;
        let size_p = self.said().size_p;
        if proposal.score < NET_SEES || size_p < NET_KNOWS || proposal.allowed_p < NET_KNOWS {
            return None;
        }
        if !proposal.face.is_flat() {
            let sure = self.is_beyond_doubt();
            return sure.then(|| self.piece(bench, search).0);
        }
        let start = Stance {
            face: Face::Up,
            ..self.stance
        };
        let (own, score) = bench.refine(start);
        let turned = (own.turn - start.turn).abs();
        if own.at.distance(start.at) > MOST_MOVED.0 || turned > MOST_MOVED.1 {
            return None;
        }
        let mut tried = vec![(own, score)];
        let is_other = |shape: &Shape| *shape != own.shape && is_taught(*shape);
        let alike = search.alike(own.shape).filter(is_other);
        tried.extend(alike.map(|shape| bench.refine(Stance { shape, ..own })));
        let mut sizes: Vec<(Stance, Score)> = other_sizes(&own, search)
            .map(|stance| (stance, bench.score(&stance)))
            .collect();
        sizes.sort_by(|a, b| b.1.total.total_cmp(&a.1.total));
        sizes.truncate(SIZES_REFINED);
        tried.extend(sizes.iter().map(|(stance, _)| bench.refine(*stance)));
        tried.sort_by(|a, b| b.1.total.total_cmp(&a.1.total));
        let odd = odd_reading(&own, bench, search);
        let best = tried.first().map_or(f64::MIN, |(_, score)| score.total);
        if odd.as_ref().is_some_and(|(_, odd)| odd.total > best) {
            return None;
        }
        let piece = reported(&tried, bench.view, bench.camera)?;
        let same = piece.stance.shape.has_footprint_of(own.shape);
        let rival = odd.map(|(stance, odd)| (stance.shape, best - odd.total));
        let piece = FoundPiece {
            rival: rival.or(piece.rival),
            ..piece
        };
        (same && is_piece(&piece)).then(|| agreed(piece, self, bench, search))
    }

    /// As [`Self::piece`], but a shape that the net was not taught where edges rather show that.
    pub(super) fn piece_or_odd(&self, bench: &Bench<'_>, search: &Search) -> FoundPiece {
        let (block, odd) = self.piece(bench, search);
        match odd {
            Some((stance, score)) if score.total > block.score => {
                let margin = score.total - block.score;
                instead_of(block, (stance, score), margin)
            }
            _ => block,
        }
    }
}

/// Of the other sizes that could lie in a place, those that are refined: the best each way, as a rule.
const SIZES_REFINED: usize = 3;

/// The same form in the sizes of up to two studs more or one less each way, with one end where it was.
fn other_sizes<'a>(own: &'a Stance, search: &'a Search) -> impl Iterator<Item = Stance> + 'a {
    let fits = |shape: &&Shape| {
        let more = |other: f64, own: f64| ((other - own) / PITCH_MM).round();
        let (short, long) = (
            more(shape.short_mm(), own.shape.short_mm()),
            more(shape.long_mm(), own.shape.long_mm()),
        );
        shape.form() == own.shape.form()
            && (short, long) != (0.0, 0.0)
            && (-1.0..=2.0).contains(&short)
            && (-1.0..=2.0).contains(&long)
    };
    (search.shapes().iter().filter(fits)).flat_map(|shape| {
        let along = (shape.long_mm() - own.shape.long_mm()) / 2.0;
        let across = (shape.short_mm() - own.shape.short_mm()) / 2.0;
        let ends = |by: f64| if by == 0.0 { vec![0.0] } else { vec![-by, by] };
        let places = ends(along)
            .into_iter()
            .flat_map(move |along| ends(across).into_iter().map(move |across| (along, across)));
        places.map(|(along, across)| Stance {
            shape: *shape,
            at: own.local(along, across),
            ..*own
        })
    })
}

/// A piece that both see in the same place and size. Edges seldom tell mixed forms apart: what
/// they leave open is the net's to say.
pub(super) fn agreed(
    mut piece: FoundPiece,
    one: &Instance<'_>,
    bench: &Bench<'_>,
    search: &Search,
) -> FoundPiece {
    let forms = one.forms();
    let Some(&(best, p)) = forms.first() else {
        return piece;
    };
    if !piece.form_is_told() {
        let (seen_by_edges, rival) = (piece.other_form, piece.rival);
        if best != piece.stance.shape {
            piece = one.piece(bench, search).0;
        }
        piece.form_p = p.min(SAID);
        let second = forms.get(1).map(|(other, _)| (*other, piece.score));
        piece.other_form = second.or(seen_by_edges);
        piece.rival = rival;
    } else if best != piece.stance.shape && p > FORM_TOLD {
        piece.other_form = Some((best, piece.score));
    }
    // The search supposes that all lie studs up, and takes the tubes of an underside for studs.
    if piece.stance.face != one.stance.face && piece.stance.has_notch() {
        // Turned over, a notch lies on the other side.
        piece.stance = one.stance;
    }
    piece.stance.face = one.stance.face;
    piece.witness = Witness::Both(one.said());
    piece
}
