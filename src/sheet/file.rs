//! The sheet file (`NAME.sheet.json`), version 1. Schema: `docs/sheet-v1.schema.json`.

use serde::{Deserialize, Serialize};

use super::review::Review;
use super::weighing::Weighing;

/// At or above this probability a piece is sure; below it a person should look.
pub const SURE: f64 = 0.9;

/// The result of one photo, or of several of one tray.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    /// Format version, always `v1`.
    pub sheet: Version,
    /// What was counted.
    #[serde(flatten)]
    pub photos: Photos,
    /// Where the pieces live (a cup, a drawer), if the user said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Name of the measured light that was on, where that could be told.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub light: Option<String>,
    /// Whether a person has looked at it and put right what was wrong.
    #[serde(default)]
    pub checked: bool,
    /// Whether somebody said that the taught colours are all there are.
    #[serde(default, skip_serializing_if = "is_false")]
    pub only_taught: bool,
    /// What this home's reviews set right in how sure its pieces are; none where they did not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_right_by: Option<SetRightBy>,
    /// Which of the maps that the program was shipped with stated how sure pieces are; none in a sheet of an older program.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stated_by: Option<String>,
    /// Where the card was found.
    pub card: CardReport,
    /// How well the colours were corrected.
    pub colour: ColourReport,
    /// Every piece, in reading order.
    pub pieces: Vec<Piece>,
    /// Pieces by form, size and colour.
    pub groups: Vec<Group>,
    /// How many lie there in all; none in a sheet of an older program.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub total: Option<Total>,
    /// What a second photo of the tray would settle, where that pays; none in a sheet of several photos.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_photo: Option<SecondPhoto>,
    /// Foreground that no piece explains.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unexplained: Vec<Unexplained>,
    /// What a scale says of the count, where the pieces were weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weighing: Option<Weighing>,
    /// What a person should know before trusting this sheet.
    pub warnings: Vec<Warning>,
    /// What people put right, and the guess before that; none until somebody did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub review: Option<Box<Review>>,
}

/// What a second photo of the same tray from another side would settle, as was measured of doubtful pieces like these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SecondPhoto {
    /// How many of the doubtful pieces it would make sure.
    pub would_settle: u32,
    /// How many are doubtful.
    pub doubtful: u32,
}

/// The sheet format's version.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Version {
    /// The first version.
    #[default]
    #[serde(rename = "v1")]
    V1,
}

/// The finished reviews by which what was stated of pieces was set right.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetRightBy {
    /// How many sheets.
    pub sheets: u64,
    /// How many of their pieces somebody looked at.
    pub pieces: u32,
}

/// The photos that a sheet came from: in the file `photo`, or `photos` where they are several.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "InFile", into = "InFile")]
pub struct Photos {
    /// The only one, or the one whose places a sheet has.
    pub first: PhotoRef,
    /// The others of the same tray.
    pub others: Vec<PhotoRef>,
}

#[derive(Serialize, Deserialize)]
struct InFile {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    photo: Option<PhotoRef>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    photos: Option<Vec<PhotoRef>>,
}

impl From<PhotoRef> for Photos {
    fn from(first: PhotoRef) -> Self {
        let others = Vec::new();
        Self { first, others }
    }
}

impl From<Photos> for InFile {
    fn from(photos: Photos) -> Self {
        let Photos { first, others } = photos;
        if others.is_empty() {
            let (photo, photos) = (Some(first), None);
            return Self { photo, photos };
        }
        let photos = Some(std::iter::once(first).chain(others).collect());
        Self {
            photo: None,
            photos,
        }
    }
}

impl TryFrom<InFile> for Photos {
    type Error = &'static str;

    fn try_from(file: InFile) -> Result<Self, Self::Error> {
        let mut all = match (file.photo, file.photos) {
            (Some(photo), None) => vec![photo],
            (None, Some(photos)) if !photos.is_empty() => photos,
            (Some(_), Some(_)) => {
                return Err("it has both `photo` and `photos`, of which a sheet has one");
            }
            _ => return Err("it names no photo, neither as `photo` nor in `photos`"),
        };
        let others = all.split_off(1);
        let first = all.swap_remove(0);
        Ok(Self { first, others })
    }
}

impl Photos {
    /// All of them, in order.
    pub fn each(&self) -> impl Iterator<Item = &PhotoRef> {
        std::iter::once(&self.first).chain(&self.others)
    }

    /// One by its number, from 1.
    pub fn by_number(&self, number: u32) -> Option<&PhotoRef> {
        self.each().nth((number as usize).checked_sub(1)?)
    }

    /// The same, to change them.
    pub fn each_mut(&mut self) -> impl Iterator<Item = &mut PhotoRef> {
        std::iter::once(&mut self.first).chain(&mut self.others)
    }
}

impl Sheet {
    /// The same with the places of another of its photos, by its number from 1: of the pieces only those that this one has in
    /// it, and of what no piece explains nothing, as that is told of the first.
    pub fn in_photo(&self, number: u32) -> Self {
        let mut sheet = self.clone();
        let Some(photo) = self.photos.others.get((number as usize).wrapping_sub(2)) else {
            return sheet;
        };
        sheet.photos.first = photo.clone();
        if let Some(card) = &photo.card {
            sheet.card = (**card).clone();
        }
        sheet.unexplained.clear();
        sheet.pieces.retain_mut(|piece| {
            let Some(view) = piece.views.iter().find(|view| view.photo == number) else {
                return false;
            };
            (piece.x_px, piece.y_px) = (view.x_px, view.y_px);
            piece.outline_px.clone_from(&view.outline_px);
            true
        });
        sheet
    }
}

/// Which photo a sheet came from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PhotoRef {
    /// File name without folder.
    pub file: String,
    /// Width of the upright photo.
    pub width_px: u32,
    /// Height of the upright photo.
    pub height_px: u32,
    /// SHA-256 (hex) of the upright pixels, so a renamed or re-tagged copy is the same photo.
    pub hash: String,
    /// Width and height of the reduced copy that was counted, where the photo has more pixels than are kept. Places
    /// in the sheet are in the photo's own pixels all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counted_at_px: Option<[u32; 2]>,
    /// The photo's path from the sheet's folder, with `/`, where it was when it was
    /// counted; only a hint: `hash` decides.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub path: Option<String>,
    /// Where the card was found in it, of the photos after the first; that one's is [`Sheet::card`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub card: Option<Box<CardReport>>,
}

/// Where the card was found and what follows from it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CardReport {
    /// Card version, `v1`.
    pub version: String,
    /// Ids of the tags that were read.
    pub tags: Vec<u8>,
    /// The card's four outer corners (clockwise from its own top left), px.
    pub corners_px: [[f64; 2]; 4],
    /// Median distance between found and modelled tag corners, px.
    pub reprojection_px: f64,
    /// Scale of the photo at the card's middle.
    pub mm_per_px: f64,
    /// Angle between the camera's axis and the tray's normal.
    pub tilt_deg: f64,
    /// Height of the lens above the tray.
    pub camera_height_mm: f64,
    /// Radial term of the lens, see [`crate::view::Camera`]; 0 where it is not told.
    #[serde(default)]
    pub lens_k1: f64,
    /// How many of the card's patches could be read.
    pub patches: u8,
}

/// How well the colours were corrected, by leave-one-out over the card's patches.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ColourReport {
    /// Mean CIEDE2000 error.
    pub mean_de00: f64,
    /// 95th percentile of the CIEDE2000 error.
    pub p95_de00: f64,
    /// Worst CIEDE2000 error.
    pub max_de00: f64,
    /// Whether this printed copy of the card was measured, or its nominal values used.
    pub print_profile: bool,
    /// `root-polynomial` or `matrix`.
    pub method: String,
}

/// One piece in the photo.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Piece {
    /// Running number within the sheet, from 1.
    pub id: u32,
    /// `brick`, `plate`, `tile`, or `any` where it cannot be told.
    pub form: String,
    /// Studs, small side first: `2x4`.
    pub size: String,
    /// A taught name, or an ISCC-NBS name where nothing was taught.
    pub colour: String,
    /// Middle of its silhouette in the upright photo.
    pub x_px: f64,
    /// Middle of its silhouette in the upright photo.
    pub y_px: f64,
    /// Middle of the footprint on the tray, from the card's top left.
    pub x_mm: f64,
    /// Middle of the footprint on the tray, from the card's top left.
    pub y_mm: f64,
    /// Direction of the long side, degrees from the card's x axis towards its y axis; as far as the footprint
    /// turns until it looks the same again: in [0, 180) for a rectangle, [0, 90) for a square, [0, 360) for a corner.
    pub turn_deg: f64,
    /// `up`, `down`, `side` or `end`.
    pub face: String,
    /// Probability that form, size and colour are all right.
    pub sure: f64,
    /// The same as the program is shipped, where this home's reviews set it right.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stated: Option<f64>,
    /// Corrected colour, CIELAB D65.
    pub lab: [f64; 3],
    /// What keeps its top from showing its own colour: empty where nothing does, none where that was not
    /// told, as of a piece that a person added or in a sheet of an older program.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spoilt: Option<Vec<Spoilt>>,
    /// Outline in the upright photo, also where other pieces lie on it.
    pub outline_px: Vec<[f64; 2]>,
    /// Share of its silhouette that other pieces hide, where that is told.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub covered: f64,
    /// The photos in which it was found, by their number in `photos`, from 1; none in a sheet of one photo.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seen_in: Vec<u32>,
    /// Height of its body by where several photos see it, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height_mm: Option<f64>,
    /// Where it lies in the other photos, those that have its place in them; none in a sheet of one photo.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub views: Vec<InView>,
    /// What it could be instead, likeliest first; empty when nothing else is likely.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub instead: Vec<Instead>,
    /// Why it is doubtful, in words; empty when sure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<String>,
    /// Its colour under the other answer to whether the taught colours are all there are, where that differs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub otherwise: Option<Box<Otherwise>>,
    /// Whether a person looked at it and it is as stated here; then `sure` is 1.
    #[serde(default, skip_serializing_if = "is_false")]
    pub looked_at: bool,
    /// Whether that was by one look at several, laid side by side.
    #[serde(default, skip_serializing_if = "is_false")]
    pub together: bool,
    /// Whether a person took it as it was counted, with others and without looking at it: it is not
    /// asked about any more and keeps the doubt that it has.
    #[serde(default, skip_serializing_if = "is_false")]
    pub as_counted: bool,
}

/// A piece in another photo than the first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InView {
    /// The photo's number in `photos`, from 1.
    pub photo: u32,
    /// Middle of its silhouette in that upright photo.
    pub x_px: f64,
    /// Middle of its silhouette in that upright photo.
    pub y_px: f64,
    /// Outline in that upright photo, also where other pieces lie on it.
    pub outline_px: Vec<[f64; 2]>,
}

/// What a piece is taken for under the other answer of [`Sheet::only_taught`].
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Otherwise {
    /// As in [`Piece`].
    pub colour: String,
    /// As in [`Piece`].
    pub sure: f64,
    /// As in [`Piece`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stated: Option<f64>,
    /// As in [`Piece`].
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub instead: Vec<Instead>,
    /// As in [`Piece`].
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<String>,
}

impl Piece {
    /// The same piece under the other answer; as it is where that makes no difference to it, or where a person has
    /// spoken of it.
    pub fn answered_otherwise(&self) -> Self {
        let mut piece = self.clone();
        if piece.looked_at || piece.as_counted {
            return piece;
        }
        if let Some(otherwise) = piece.otherwise.as_deref_mut() {
            std::mem::swap(&mut piece.colour, &mut otherwise.colour);
            std::mem::swap(&mut piece.sure, &mut otherwise.sure);
            std::mem::swap(&mut piece.stated, &mut otherwise.stated);
            std::mem::swap(&mut piece.instead, &mut otherwise.instead);
            std::mem::swap(&mut piece.doubts, &mut otherwise.doubts);
        }
        piece
    }
}

/// What keeps a piece's top from showing its own colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Spoilt {
    /// A lamp mirrors in it.
    Lamp,
    /// It was so bright that the camera cut a channel off.
    CutOff,
    /// Others around it may stand in its light.
    Shaded,
    /// It is lighter here and darker there, by gloss or shade.
    Uneven,
}

#[allow(clippy::trivially_copy_pass_by_ref)] // as serde wants it
fn is_false(flag: &bool) -> bool {
    !*flag
}

#[allow(clippy::trivially_copy_pass_by_ref)] // as serde wants it
fn is_zero(number: &f64) -> bool {
    *number == 0.0
}

/// Something else that a piece could be.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Instead {
    /// Form, as in [`Piece`].
    pub form: String,
    /// Size, as in [`Piece`].
    pub size: String,
    /// Colour, as in [`Piece`].
    pub colour: String,
    /// Probability that it is this.
    pub sure: f64,
}

/// All pieces of one form, size and colour. One with a `count` of 0 is of pieces that were counted as
/// something else and may be this.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Group {
    /// Form, as in [`Piece`].
    pub form: String,
    /// Size, as in [`Piece`].
    pub size: String,
    /// Colour, as in [`Piece`].
    pub colour: String,
    /// The best single number.
    pub count: u32,
    /// No fewer than this.
    pub low: u32,
    /// No more than this.
    pub high: u32,
    /// Probability that `count` is exactly right.
    pub sure: f64,
}

impl Group {
    /// Whether any piece was counted as this.
    pub fn is_counted(&self) -> bool {
        self.count > 0
    }
}

/// How many pieces lie there in all, those included that others hide.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Total {
    /// Those that are seen: each is in `pieces`.
    pub seen: u32,
    /// The best single number.
    pub estimate: u32,
    /// No fewer than this.
    pub low: u32,
    /// No more than this.
    pub high: u32,
}

/// A place where something lies that no listed piece explains.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Unexplained {
    /// Its middle in the upright photo.
    pub x_px: f64,
    /// Its middle in the upright photo.
    pub y_px: f64,
    /// Its middle on the tray, from the card's top left.
    pub x_mm: f64,
    /// Its middle on the tray, from the card's top left.
    pub y_mm: f64,
    /// Area of what is seen of it.
    pub area_mm2: f64,
    /// Sides of the smallest box around what is seen of it, mm, the short one first; measured as if it were flat, so what
    /// stands high is a little smaller. Missing in sheets from before it was measured.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub sides_mm: Option<[f64; 2]>,
    /// The ISCC-NBS name of `lab`.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub colour: Option<String>,
    /// The colour that most of it shows, CIELAB D65; missing where too little of it is in the photo.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub lab: Option<[f64; 3]>,
}

/// Something a person should know, with what to do about it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Warning {
    /// A stable short code for programs, such as `card-partial`.
    pub code: String,
    /// One sentence: what, and what to do.
    pub text: String,
}
