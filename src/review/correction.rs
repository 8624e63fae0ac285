//! What a person can say about a sheet, as the page sends it.

use serde::Deserialize;

use crate::stock::kind::KindError;
use crate::units::Mm;

use super::tray::Stand;

/// One correction, not yet carried out.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Correction {
    /// These pieces are as they stand, and in these places lies nothing to count.
    Accept {
        /// Ids of pieces.
        #[serde(default)]
        ids: Vec<u32>,
        /// Indices into the sheet's `unexplained`.
        #[serde(default)]
        spots: Vec<usize>,
        /// Whether that was seen in one look at them side by side.
        #[serde(default)]
        together: bool,
    },
    /// These pieces are taken as they were counted, without a look at each: they keep their doubt.
    /// In these places lies nothing to count.
    TakeAsCounted {
        /// Ids of pieces.
        #[serde(default)]
        ids: Vec<u32>,
        /// Indices into the sheet's `unexplained`.
        #[serde(default)]
        spots: Vec<usize>,
    },
    /// Pieces are something else; what is not named stays.
    Change {
        /// Their ids.
        ids: Vec<u32>,
        /// Their form.
        form: Option<String>,
        /// Their size.
        size: Option<String>,
        /// Their colour.
        colour: Option<String>,
        /// Their face.
        face: Option<String>,
    },
    /// Here are no pieces.
    Remove {
        /// Ids of pieces.
        ids: Vec<u32>,
    },
    /// A piece was missed.
    Add {
        /// The piece.
        piece: Draft,
        /// The place in `unexplained` that it explains.
        #[serde(default)]
        spot: Option<usize>,
    },
    /// A piece is two.
    Split {
        /// Its id.
        id: u32,
        /// Which of [`super::parts::cuts`].
        cut: usize,
    },
    /// Two pieces are one.
    Join {
        /// Their ids; the first gives form and colour.
        ids: [u32; 2],
    },
    /// All pieces of a colour are really of another.
    Recolour {
        /// The colour they have.
        from: String,
        /// The colour they really are.
        to: String,
    },
    /// A group's number is this, whatever the pieces say.
    Count {
        /// Form, as in a piece.
        form: String,
        /// Size, as in a piece.
        size: String,
        /// Colour, as in a piece.
        colour: String,
        /// The number; none lets the pieces count again.
        count: Option<u32>,
        /// Why.
        #[serde(default)]
        reason: String,
    },
    /// Where the pieces live.
    Place {
        /// The place.
        name: String,
    },
    /// Whether the taught colours are all there are on this tray.
    OnlyTaught {
        /// The answer.
        yes: bool,
    },
}

/// A piece that is to be added.
#[derive(Clone, Debug, PartialEq, Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct Draft {
    /// Form, as in a piece.
    pub form: String,
    /// Size, as in a piece.
    pub size: String,
    /// Colour, as in a piece.
    pub colour: String,
    /// Face, as in a piece.
    pub face: String,
    /// Middle of the footprint, mm.
    pub x_mm: f64,
    /// Middle of the footprint, mm.
    pub y_mm: f64,
    /// Direction of the long side, degrees.
    pub turn_deg: f64,
    /// Its colour as read, CIELAB D65; none where it was not read.
    #[serde(default)]
    pub lab: Option<[f64; 3]>,
}

impl Draft {
    /// How it stands.
    pub fn stand(&self) -> Stand<'_> {
        Stand {
            form: &self.form,
            size: &self.size,
            face: &self.face,
            at: Mm::new(self.x_mm, self.y_mm),
            turn_deg: self.turn_deg,
        }
    }
}

/// Why a correction was not carried out; each is one sentence for the person.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    /// No such piece.
    #[error("piece {0} is no longer on this sheet; look at the sheet again")]
    NoPiece(u32),
    /// No such place.
    #[error("that unexplained place is no longer on this sheet; look at the sheet again")]
    NoSpot,
    /// It would change nothing.
    #[error("nothing would change: it is so already")]
    Nothing,
    /// A name that cannot be.
    #[error(transparent)]
    Name(#[from] KindError),
    /// A form that has no such size.
    #[error("there is no {form} {size} in the list of pieces; choose another size")]
    NoShape {
        /// The form.
        form: String,
        /// The size.
        size: String,
    },
    /// A face that is none.
    #[error("a piece cannot lie '{0}'; choose one of the ways that are offered")]
    NoFace(String),
    /// No geometry.
    #[error(
        "this sheet does not say where its card lies, so no outline can be drawn; count the photo again"
    )]
    NoTray,
    /// A place off the photo.
    #[error("that place is outside of the photo; put the piece inside")]
    Outside,
    /// It cannot be cut so.
    #[error("a piece of size {0} cannot be cut so; choose one of the cuts that are offered")]
    NoCut(String),
    /// One piece joined with itself.
    #[error("choose two different pieces to join")]
    OnePiece,
    /// What two pieces make together is none.
    #[error(
        "together these two pieces fit no listed piece; change the size of one and remove the other"
    )]
    NoJoin,
    /// No reason.
    #[error("say in a few words why the number is set outright")]
    NoReason,
    /// Too long a reason.
    #[error("the reason has {0} characters; keep it to 200")]
    LongReason(usize),
    /// More than anybody counts by eye.
    #[error("the number {0} is more than a photo can hold; set at most 100000")]
    TooMany(u32),
    /// No piece has that colour.
    #[error("no piece on this sheet is {0}")]
    NoColour(String),
    /// It counts as posted.
    #[error(
        "this sheet is in the stock as checked, by entry {0}; to change it, say `cuptally stock undo {0}` first"
    )]
    Posted(u64),
}
