//! The net's output by name: what each cell of two millimetres says.

use ndarray::{Array3, s};

use super::super::shape::{Form, Shape};
use super::input::{CELL_MM, Input};
use super::net::{Net, NetError, OUTPUTS, REDUCTION};
use crate::units::Mm;

/// Distance from one cell to the next, mm.
pub const OUT_MM: f64 = CELL_MM * REDUCTION as f64;
/// How many forms the net tells apart.
pub const FORM_COUNT: usize = 5;
/// Those forms in its order.
pub const FORMS: [Form; FORM_COUNT] = [
    Form::BRICK,
    Form::PLATE,
    Form::TILE,
    Form::CORNER,
    Form::ROUND,
];
/// How many sizes the net tells apart.
pub const SIZE_COUNT: usize = 18;
/// Those sizes in its order, short side first.
pub const SIZES: [(u8, u8); SIZE_COUNT] = [
    (1, 1),
    (1, 2),
    (1, 3),
    (1, 4),
    (1, 5),
    (1, 6),
    (1, 7),
    (1, 8),
    (2, 2),
    (2, 3),
    (2, 4),
    (2, 5),
    (2, 6),
    (2, 7),
    (2, 8),
    (4, 4),
    (4, 6),
    (6, 6),
];
/// What it was taught of shapes that are no rectangles; those it knows in all sizes.
const TAUGHT: [(Form, (u8, u8)); 3] = [
    (Form::CORNER, (2, 2)),
    (Form::ROUND, (1, 1)),
    (Form::ROUND, (2, 2)),
];
/// The net's unit of length, mm.
const LENGTH_MM: f64 = 16.0;
/// Lengths beyond these, in natural logarithms of that unit, are nonsense: 0.3 and 870 mm.
const LENGTH_RANGE: (f32, f32) = (-4.0, 4.0);

/// First channel of each part of the output.
const WHAT: usize = 0;
pub(super) const VOTE: usize = 3;
pub(super) const DOUBLE: usize = 5;
pub(super) const QUADRUPLE: usize = 7;
const FACE: usize = 9;
const FORM: usize = 13;
const SIZE: usize = FORM + FORM_COUNT;
const VISIBLE: usize = SIZE + SIZE_COUNT;
const LONG: usize = VISIBLE + 1;
const SHORT: usize = LONG + 1;
// In between is whether the cell lies on a stud; only the training has a use for that.
pub(super) const NOTCH: usize = SHORT + 2;

/// A shape's places in [`FORMS`] and in [`SIZES`]; `None` for one that the net was not taught.
pub(super) fn place(shape: Shape) -> Option<(usize, usize)> {
    let (form, size) = (shape.form(), shape.studs_box());
    let is_taught = match form {
        Form::CORNER => shape.has_notch() && TAUGHT.contains(&(form, size)),
        Form::ROUND => shape.is_round() && TAUGHT.contains(&(form, size)),
        _ => shape.is_block(),
    };
    let form = FORMS.iter().position(|known| *known == form)?;
    let size = SIZES.iter().position(|known| *known == size)?;
    is_taught.then_some((form, size))
}

/// Output of the net and where it lies on the tray.
#[derive(Clone, Debug)]
pub struct Maps {
    /// (rows, columns, channels)
    values: Array3<f32>,
    /// Outer corner of the input's first cell.
    origin: Mm,
}

/// What a cell shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct What {
    /// Probability of empty tray.
    pub ground: f64,
    /// Probability of a piece.
    pub piece: f64,
    /// Probability of a thing that is no piece.
    pub stranger: f64,
}

impl Maps {
    /// Runs the net.
    ///
    /// # Errors
    /// [`NetError::Input`] where the input is not what the net takes.
    pub fn of(net: &Net, input: &Input) -> Result<Self, NetError> {
        Ok(Self {
            values: net.of(&input.values)?,
            origin: input.origin,
        })
    }

    /// These with other values in the same places.
    ///
    /// # Errors
    /// What `other` says.
    pub(super) fn mapped<E>(
        self,
        other: impl FnOnce(Array3<f32>) -> Result<Array3<f32>, E>,
    ) -> Result<Self, E> {
        let Self { values, origin } = self;
        let values = other(values)?;
        Ok(Self { values, origin })
    }

    /// Maps from an output (rows, columns, channels) that is at hand; `None` where it has
    /// other than [`OUTPUTS`] channels. `origin` is the outer corner of the input's first cell.
    pub fn from_output(values: Array3<f32>, origin: Mm) -> Option<Self> {
        (values.dim().2 == OUTPUTS).then_some(Self { values, origin })
    }

    /// Rows and columns.
    pub fn size(&self) -> (usize, usize) {
        (self.values.dim().0, self.values.dim().1)
    }

    /// The tray place that a cell speaks for: the middle of the input cell on which all
    /// its kernels are centred.
    pub fn middle(&self, row: usize, column: usize) -> Mm {
        let along = |cell: usize| ((cell * REDUCTION) as f64 + 0.5) * CELL_MM;
        Mm::new(self.origin.x + along(column), self.origin.y + along(row))
    }

    /// The cell, as row and column, in which a place on the tray lies.
    pub fn cell(&self, at: Mm) -> Option<(usize, usize)> {
        let first = self.middle(0, 0);
        let along = |from: f64, to: f64| ((to - from) / OUT_MM).round();
        let (row, column) = (along(first.y, at.y), along(first.x, at.x));
        let (rows, columns) = self.size();
        let within = row >= 0.0 && column >= 0.0 && row < rows as f64 && column < columns as f64;
        within.then_some((row as usize, column as usize))
    }

    fn value(&self, row: usize, column: usize, channel: usize) -> f64 {
        f64::from(self.values[(row, column, channel)])
    }

    fn log_shares<const N: usize>(&self, row: usize, column: usize, first: usize) -> [f64; N] {
        let logits = self.values.slice(s![row, column, first..first + N]);
        let mut out = [0.0; N];
        for (out, logit) in out.iter_mut().zip(logits) {
            *out = f64::from(*logit);
        }
        log_softmax(out)
    }

    /// What the cell shows.
    pub fn what(&self, row: usize, column: usize) -> What {
        let [ground, piece, stranger] = self.log_shares(row, column, WHAT).map(f64::exp);
        What {
            ground,
            piece,
            stranger,
        }
    }

    /// Where the cell thinks its piece's middle is seen.
    pub fn vote(&self, row: usize, column: usize) -> Mm {
        let at = self.middle(row, column);
        Mm::new(
            at.x + LENGTH_MM * self.value(row, column, VOTE),
            at.y + LENGTH_MM * self.value(row, column, VOTE + 1),
        )
    }

    /// Cosine and sine of twice the long side's direction.
    pub fn double_turn(&self, row: usize, column: usize) -> (f64, f64) {
        let at = |channel| self.value(row, column, channel);
        (at(DOUBLE), at(DOUBLE + 1))
    }

    /// Cosine and sine of four times the direction of a square's side.
    pub fn quadruple_turn(&self, row: usize, column: usize) -> (f64, f64) {
        let at = |channel| self.value(row, column, channel);
        (at(QUADRUPLE), at(QUADRUPLE + 1))
    }

    /// Cosine and sine of the way from a corner's middle to the cell that it lacks, from the
    /// card's x axis towards its y axis, as seen from above. Of any other piece they say nothing.
    pub fn notch(&self, row: usize, column: usize) -> (f64, f64) {
        let at = |channel| self.value(row, column, channel);
        (at(NOTCH), at(NOTCH + 1))
    }

    /// Logarithms of the probabilities of [`super::super::face::Face::ALL`].
    pub fn log_face(&self, row: usize, column: usize) -> [f64; 4] {
        self.log_shares(row, column, FACE)
    }

    /// Logarithms of the probabilities of [`FORMS`].
    pub fn log_form(&self, row: usize, column: usize) -> [f64; FORM_COUNT] {
        self.log_shares(row, column, FORM)
    }

    /// Logarithms of the probabilities of [`SIZES`].
    pub fn log_size(&self, row: usize, column: usize) -> [f64; SIZE_COUNT] {
        self.log_shares(row, column, SIZE)
    }

    /// The logit of the share of its piece's own silhouette that can be seen.
    pub fn visible_logit(&self, row: usize, column: usize) -> f64 {
        self.value(row, column, VISIBLE)
    }

    /// Natural logarithms of the piece's long and short side as it lies, in mm.
    pub fn log_lengths(&self, row: usize, column: usize) -> (f64, f64) {
        let log = |channel| {
            let value = self.values[(row, column, channel)];
            f64::from(value.clamp(LENGTH_RANGE.0, LENGTH_RANGE.1)) + LENGTH_MM.ln()
        };
        (log(LONG), log(SHORT))
    }
}

/// Logarithms of a distribution from logits.
pub(super) fn log_softmax<const N: usize>(logits: [f64; N]) -> [f64; N] {
    let most = logits.iter().copied().fold(f64::MIN, f64::max);
    let sum: f64 = logits.iter().map(|v| (v - most).exp()).sum();
    logits.map(|v| v - most - sum.ln())
}
