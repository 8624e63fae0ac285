//! Whether a JPEG holds all of its picture.
//!
//! A decoder fills what is missing with grey and reports success; an end marker proves nothing, since programs that
//! mend files put one on a part. So the coded data itself is read here, from code to code (ITU-T T.81, F.2 and
//! G.2), without making pixels of it: every block of every scan must be there. That takes a fraction of the
//! decoder's time, and runs beside it.

use super::huffman::{Bits, Huffman};
use super::scan::{Coder, Scan};
use super::segments::{Cut, SOS, Segment, Segments};

/// Why a file does not hold a whole picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fault {
    /// Data ends before the picture does.
    Cut,
    /// What is there cannot be; in words.
    Broken(&'static str),
}

impl From<Cut> for Fault {
    fn from(_: Cut) -> Self {
        Self::Cut
    }
}

/// Most scans of a picture. Progressive photos have about ten and at most some sixty; each takes a walk over all
/// blocks, which a small file could ask for by the thousand.
const MOST_SCANS: usize = 100;

/// One colour component of the frame.
#[derive(Clone, Debug)]
pub(super) struct Component {
    pub(super) id: u8,
    /// Sampling factors, 1 to 4.
    pub(super) across: u32,
    pub(super) down: u32,
    /// Blocks in a row and in a column where it is coded alone.
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// Bits still to come of each coefficient, in zigzag order; [`NOTHING`] before any.
    pub(super) to_come: [u8; 64],
    /// Which coefficients are known not to be 0, a bit each; empty until it is asked for.
    pub(super) nonzero: Vec<u64>,
}

/// A coefficient of which nothing has come yet.
pub(super) const NOTHING: u8 = u8::MAX;

/// The frame's header.
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) progressive: bool,
    pub(super) components: Vec<Component>,
    /// Groups of blocks (MCUs) in a row and in a column where components are coded together.
    pub(super) columns: usize,
    pub(super) rows: usize,
}

impl Layout {
    /// Reads a frame header (B.2.2).
    ///
    /// # Errors
    /// [`Fault::Broken`] where it makes no sense.
    pub(super) fn read(segment: &Segment) -> Result<Self, Fault> {
        const BAD: Fault = Fault::Broken("its header makes no sense");
        let [_, y1, y0, x1, x0, _, listed @ ..] = segment.data else {
            return Err(BAD);
        };
        let width = u32::from(u16::from_be_bytes([*x1, *x0]));
        let height = u32::from(u16::from_be_bytes([*y1, *y0]));
        let listed = listed.as_chunks::<3>().0;
        let factors = |sampling: u8| (u32::from(sampling >> 4), u32::from(sampling & 15));
        let sound = |[_, sampling, _]: &[u8; 3]| {
            let (across, down) = factors(*sampling);
            (1..=4).contains(&across) && (1..=4).contains(&down)
        };
        if !(1..=4).contains(&listed.len()) || !listed.iter().all(sound) || width * height == 0 {
            return Err(BAD);
        }
        let most = |pick: fn((u32, u32)) -> u32| {
            let each = listed
                .iter()
                .map(|[_, sampling, _]| pick(factors(*sampling)));
            each.max().unwrap_or(1)
        };
        let (most_across, most_down) = (most(|f| f.0), most(|f| f.1));
        let blocks =
            |side: u32, factor: u32, most: u32| (side * factor).div_ceil(8 * most) as usize;
        let components = listed.iter().map(|&[id, sampling, _]| {
            let (across, down) = factors(sampling);
            Component {
                id,
                across,
                down,
                columns: blocks(width, across, most_across),
                rows: blocks(height, down, most_down),
                to_come: [NOTHING; 64],
                nonzero: Vec::new(),
            }
        });
        Ok(Self {
            progressive: segment.marker == 0xC2,
            components: components.collect(),
            columns: blocks(width, 1, most_across),
            rows: blocks(height, 1, most_down),
        })
    }

    /// Blocks of 8 x 8 samples in the whole picture.
    pub(super) fn blocks(&self) -> u64 {
        let each = self.components.iter();
        each.map(|c| c.columns as u64 * c.rows as u64).sum()
    }

    /// Whether all that there is to a component has come.
    fn complete(&self) -> bool {
        let each = self.components.iter().flat_map(|c| &c.to_come);
        each.into_iter().all(|&bits| bits == 0)
    }
}

/// Reads all scans from code to code.
///
/// # Errors
/// What is missing or cannot be.
pub(super) fn check(bytes: &[u8]) -> Result<(), Fault> {
    let mut layout: Option<Layout> = None;
    let mut coder = Coder::default();
    let mut scans = 0;
    for segment in Segments::of(bytes) {
        let segment = segment?;
        match segment.marker {
            _ if segment.is_frame() => {
                if layout.is_some() {
                    return Err(Fault::Broken("it has two headers"));
                }
                layout = Some(Layout::read(&segment)?);
            }
            0xC4 => tables(segment.data, &mut coder)?,
            0xDD => {
                if let [high, low, ..] = *segment.data {
                    coder.interval = usize::from(u16::from_be_bytes([high, low]));
                }
            }
            SOS => {
                let layout = layout.as_mut().ok_or(Fault::Broken("it has no header"))?;
                scans += 1;
                if scans > MOST_SCANS {
                    return Err(Fault::Broken("it is in more layers than any camera writes"));
                }
                let scan = Scan::read(segment.data, layout)?;
                coder.walk(&scan, layout, Bits::of(segment.coded()))?;
            }
            _ => {}
        }
    }
    match layout {
        Some(layout) if layout.complete() => Ok(()),
        _ => Err(Fault::Cut),
    }
}

/// Takes in a segment of code tables (B.2.4.2).
fn tables(mut data: &[u8], coder: &mut Coder) -> Result<(), Fault> {
    while let Some((&which, rest)) = data.split_first() {
        let (table, rest) = Huffman::read(rest)?;
        let kind = match which >> 4 {
            0 => &mut coder.dc,
            _ => &mut coder.ac,
        };
        let slot = kind.get_mut(usize::from(which & 15));
        *slot.ok_or(Fault::Broken("its code tables make no sense"))? = Some(table);
        data = rest;
    }
    Ok(())
}
