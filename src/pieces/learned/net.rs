//! The net: which convolutions follow each other, with weights from a file.
//!
//! An encoder in four steps (cells of 1, 2, 4 and 8 mm), each with residual blocks (He,
//! Zhang, Ren, Sun 2016, figure 2), and a decoder back to 2 mm that adds what the encoder
//! had at the same scale (Lin et al. 2017, figure 3). Batch normalisation (Ioffe, Szegedy
//! 2015) is already folded into the weights.

use ndarray::{Array3, ArrayView3, Axis};
use thiserror::Error;

use super::conv::{Conv, Then, doubled_onto};
use super::weights::Weights;

/// Channels of the input.
pub const INPUTS: usize = 6;
/// Channels of the output.
pub const OUTPUTS: usize = 42;
/// Rows and columns of an input are multiples of this: the coarsest cell is 16 of its.
pub const MULTIPLE: usize = 16;
/// Input cells along an output cell.
pub const REDUCTION: usize = 4;
/// Cells of the input that are looked at in one go: 0.5 m², for which the net needs some 250 MB.
const AT_ONCE: usize = 2_000_000;
/// How far an output cell sees beyond itself, in cells of the input: 184 by the kernels of `weights.safetensors` (stem 1,
/// `e1` to `e4` 4, 16, 32, 64, `d1` to `d3` 2, 4, 8, `r3` 32, `r2` 16, `head` 4, and 1 for where a doubled cell lies),
/// made a multiple of [`MULTIPLE`] with one to spare.
const SEEN_BEYOND: usize = 208;
/// The weights that are part of the program.
const SHIPPED: &[u8] = include_bytes!("weights.safetensors");

/// Why a net cannot be used.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum NetError {
    /// No safetensors file, or a damaged one.
    #[error("the weights cannot be read: {0}")]
    Unreadable(String),
    /// A property of the file is missing, or is not what this program knows.
    #[error("the weights' property '{name}' is {found}; this program needs {needed}")]
    Property {
        /// The property.
        name: &'static str,
        /// What stands there.
        found: String,
        /// What is needed.
        needed: &'static str,
    },
    /// A tensor is missing.
    #[error("the weights have no tensor '{0}'")]
    Missing(String),
    /// A tensor has the wrong shape.
    #[error("the weights' tensor '{name}' has the shape {found:?} and needs {needed:?}")]
    Shape {
        /// The tensor.
        name: String,
        /// Its shape.
        found: Vec<usize>,
        /// The shape that the net's widths ask for.
        needed: Vec<usize>,
    },
    /// A tensor that is no number in 16 bits, or has one that is no number at all.
    #[error("the weights' tensor '{0}' is not made of finite numbers of 16 bits")]
    Number(String),
    /// An input that the net cannot take.
    #[error("a net's input has {INPUTS} channels and multiples of {MULTIPLE} as sides, not {0:?}")]
    Input((usize, usize, usize)),
}

/// x + conv(rectified conv(x)), rectified.
#[derive(Clone, Debug)]
struct Residual {
    a: Conv,
    b: Conv,
}

impl Residual {
    /// In the input's own memory: these maps are the largest that the program holds.
    fn of(&self, input: Array3<f32>) -> Array3<f32> {
        let inner = self.a.of(&input, None, Then::Rectify);
        self.b.of(&inner, Some(input), Then::Rectify)
    }
}

fn all(blocks: &[Residual], input: Array3<f32>) -> Array3<f32> {
    blocks.iter().fold(input, |x, block| block.of(x))
}

/// A net with its weights.
#[derive(Clone, Debug)]
pub struct Net {
    stem: Conv,
    e1: Vec<Residual>,
    d1: Conv,
    e2: Vec<Residual>,
    d2: Conv,
    e3: Vec<Residual>,
    d3: Conv,
    e4: Vec<Residual>,
    u3: Conv,
    r3: Vec<Residual>,
    u2: Conv,
    r2: Vec<Residual>,
    head: Conv,
    out: Conv,
}

impl Net {
    /// The net with the weights that are part of the program.
    ///
    /// # Errors
    /// [`NetError`] where they are damaged.
    pub fn shipped() -> Result<Self, NetError> {
        Self::read(SHIPPED)
    }

    /// A net with weights from a safetensors file's bytes. Their names and shapes:
    /// `stem`, `e1` to `e4`, `d1` to `d3`, `u3`, `u2`, `r3`, `r2`, `head`, `out`, each with
    /// `.w` (output, input, row, column) and `.b`; blocks have a number and `a` or `b` too.
    ///
    /// # Errors
    /// [`NetError`] for a file that is damaged, or whose tensors do not make up the net that
    /// its properties `widths` and `blocks` tell of.
    pub fn read(bytes: &[u8]) -> Result<Self, NetError> {
        let weights = Weights::read(bytes)?;
        let [w0, w1, w2, w3, w4] = weights.widths;
        let [b0, b1, b2, b3, b4, b5] = weights.blocks;
        let conv = |name: &str, from: usize, to: usize, side: usize, stride: usize| {
            weights.conv(name, [to, from, side, side], stride)
        };
        let blocks = |name: &str, width: usize, count: usize| {
            (0..count)
                .map(|k| {
                    Ok(Residual {
                        a: conv(&format!("{name}.{k}.a"), width, width, 3, 1)?,
                        b: conv(&format!("{name}.{k}.b"), width, width, 3, 1)?,
                    })
                })
                .collect::<Result<Vec<_>, NetError>>()
        };
        Ok(Self {
            stem: conv("stem", INPUTS, w0, 3, 2)?,
            e1: blocks("e1", w0, b0)?,
            d1: conv("d1", w0, w1, 3, 2)?,
            e2: blocks("e2", w1, b1)?,
            d2: conv("d2", w1, w2, 3, 2)?,
            e3: blocks("e3", w2, b2)?,
            d3: conv("d3", w2, w3, 3, 2)?,
            e4: blocks("e4", w3, b3)?,
            u3: conv("u3", w3, w2, 1, 1)?,
            r3: blocks("r3", w2, b4)?,
            u2: conv("u2", w2, w1, 1, 1)?,
            r2: blocks("r2", w1, b5)?,
            head: conv("head", w1, w4, 3, 1)?,
            out: conv("out", w4, OUTPUTS, 1, 1)?,
        })
    }

    /// The output (rows, columns, [`OUTPUTS`]) for an input ([`INPUTS`], rows, columns); a
    /// cell of it spans [`REDUCTION`] cells of the input each way.
    ///
    /// # Errors
    /// [`NetError::Input`] where the input has another number of channels, or sides that
    /// are no multiples of [`MULTIPLE`].
    pub fn of(&self, input: &Array3<f32>) -> Result<Array3<f32>, NetError> {
        let (channels, rows, columns) = input.dim();
        let whole = |side: usize| side > 0 && side.is_multiple_of(MULTIPLE);
        if channels != self.stem.inputs() || !whole(rows) || !whole(columns) {
            return Err(NetError::Input(input.dim()));
        }
        Ok(self.in_strips(input, AT_ONCE))
    }

    /// The same, of which no more than about `at_once` cells are looked at in one go: strip by strip across the longer
    /// side, each with all that its cells see beyond it.
    fn in_strips(&self, input: &Array3<f32>, at_once: usize) -> Array3<f32> {
        let (_, rows, columns) = input.dim();
        if rows * columns <= at_once {
            return self.at_once(input.view());
        }
        let side = usize::from(columns > rows);
        let (long, short) = (rows.max(columns), rows.min(columns));
        let most = (at_once / short).saturating_sub(2 * SEEN_BEYOND);
        let count = long.div_ceil(most.max(MULTIPLE));
        let wide = long.div_ceil(count).next_multiple_of(MULTIPLE);
        let mut out = Array3::zeros((rows / REDUCTION, columns / REDUCTION, OUTPUTS));
        for start in (0..long).step_by(wide) {
            let end = (start + wide).min(long);
            let seen = start.saturating_sub(SEEN_BEYOND)..(end + SEEN_BEYOND).min(long);
            let said = self.at_once(input.slice_axis(Axis(1 + side), seen.clone().into()));
            let within = (start - seen.start) / REDUCTION..(end - seen.start) / REDUCTION;
            out.slice_axis_mut(Axis(side), (start / REDUCTION..end / REDUCTION).into())
                .assign(&said.slice_axis(Axis(side), within.into()));
        }
        out
    }

    fn at_once(&self, input: ArrayView3<f32>) -> Array3<f32> {
        let rows = input.len_of(Axis(1));
        let pixels = input.permuted_axes([1, 2, 0]);
        let pixels = pixels.as_standard_layout().into_owned();
        let stem = self.stem.of(&pixels, None, Then::Rectify);
        drop(pixels);
        let x1 = all(&self.e1, stem);
        let x2 = all(&self.e2, self.d1.of(&x1, None, Then::Rectify));
        drop(x1);
        let x3 = all(&self.e3, self.d2.of(&x2, None, Then::Rectify));
        let x4 = all(&self.e4, self.d3.of(&x3, None, Then::Rectify));
        let y3 = doubled_onto(&self.u3.of(&x4, None, Then::Keep), x3);
        let y3 = all(&self.r3, y3);
        let y2 = doubled_onto(&self.u2.of(&y3, None, Then::Keep), x2);
        let y2 = all(&self.r2, y2);
        let y = self
            .out
            .of(&self.head.of(&y2, None, Then::Rectify), None, Then::Keep);
        debug_assert_eq!(y.len_of(Axis(0)), rows / REDUCTION);
        y
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use half::f16;
    use safetensors::Dtype;
    use safetensors::tensor::TensorView;
    use std::collections::{BTreeMap, HashMap};

    const WIDTHS: [usize; 5] = [2, 3, 4, 5, 3];
    const BLOCKS: [usize; 6] = [1, 1, 2, 1, 1, 1];

    /// Tensors by name, with their shapes.
    type Tensors = BTreeMap<String, (Vec<usize>, Vec<f32>)>;

    /// Every tensor of a net, all 0.
    fn zeros([w0, w1, w2, w3, w4]: [usize; 5], blocks: [usize; 6]) -> Tensors {
        let mut shapes = vec![
            ("stem".to_owned(), [w0, INPUTS, 3]),
            ("d1".to_owned(), [w1, w0, 3]),
            ("d2".to_owned(), [w2, w1, 3]),
            ("d3".to_owned(), [w3, w2, 3]),
            ("u3".to_owned(), [w2, w3, 1]),
            ("u2".to_owned(), [w1, w2, 1]),
            ("head".to_owned(), [w4, w1, 3]),
            ("out".to_owned(), [OUTPUTS, w4, 1]),
        ];
        let places = ["e1", "e2", "e3", "e4", "r3", "r2"];
        for ((name, count), width) in places.iter().zip(blocks).zip([w0, w1, w2, w3, w2, w1]) {
            for k in 0..count {
                for half in ["a", "b"] {
                    shapes.push((format!("{name}.{k}.{half}"), [width, width, 3]));
                }
            }
        }
        let mut tensors = Tensors::new();
        for (name, [to, from, side]) in shapes {
            let count = to * from * side * side;
            tensors.insert(
                format!("{name}.w"),
                (vec![to, from, side, side], vec![0.0; count]),
            );
            tensors.insert(format!("{name}.b"), (vec![to], vec![0.0; to]));
        }
        tensors
    }

    /// Lets a kernel pass its first channel on at its middle.
    fn pass(tensors: &mut Tensors, name: &str) {
        let (shape, numbers) = tensors.get_mut(&format!("{name}.w")).unwrap();
        let middle = shape[2] / 2 * shape[3] + shape[3] / 2;
        numbers[middle] = 1.0;
    }

    fn file(tensors: &Tensors, widths: &str, blocks: &str) -> Vec<u8> {
        let bytes: Vec<(&String, &Vec<usize>, Vec<u8>)> = tensors
            .iter()
            .map(|(name, (shape, numbers))| {
                let bytes = numbers
                    .iter()
                    .flat_map(|v| f16::from_f32(*v).to_le_bytes())
                    .collect();
                (name, shape, bytes)
            })
            .collect();
        let views: Vec<(&String, TensorView)> = bytes
            .iter()
            .map(|(name, shape, bytes)| {
                let view = TensorView::new(Dtype::F16, (*shape).clone(), bytes);
                (*name, view.unwrap())
            })
            .collect();
        let properties = HashMap::from([
            ("format".to_owned(), "2".to_owned()),
            ("widths".to_owned(), widths.to_owned()),
            ("blocks".to_owned(), blocks.to_owned()),
        ]);
        safetensors::serialize(views, Some(properties)).unwrap()
    }

    fn small(tensors: &Tensors) -> Vec<u8> {
        file(tensors, "2,3,4,5,3", "1,1,2,1,1,1")
    }

    /// Each pixel has a value of its own, exact in 32 bits.
    fn numbered(rows: usize, columns: usize) -> Array3<f32> {
        Array3::from_shape_fn((INPUTS, rows, columns), |(k, r, c)| {
            if k == 0 { (r * 100 + c) as f32 } else { 0.5 }
        })
    }

    #[test]
    fn an_output_cell_has_its_middle_on_every_fourth_pixel() {
        let mut tensors = zeros(WIDTHS, BLOCKS);
        for name in ["stem", "d1", "head", "out"] {
            pass(&mut tensors, name);
        }
        let net = Net::read(&small(&tensors)).unwrap();
        let out = net.of(&numbered(32, 48)).unwrap();
        assert_eq!(out.dim(), (8, 12, OUTPUTS));
        for ((r, c, k), v) in out.indexed_iter() {
            let expected = if k == 0 {
                (400 * r + 4 * c) as f32
            } else {
                0.0
            };
            assert_eq!(*v, expected, "at {r}, {c}, {k}");
        }
    }

    /// What comes through the coarsest scale is the same over four cells each way, and
    /// adds to what came past it.
    #[test]
    fn the_decoder_adds_what_the_encoder_had() {
        let mut tensors = zeros(WIDTHS, BLOCKS);
        for name in ["stem", "d1", "d2", "d3", "u3", "u2", "head", "out"] {
            pass(&mut tensors, name);
        }
        let net = Net::read(&small(&tensors)).unwrap();
        let out = net.of(&numbered(32, 48)).unwrap();
        let pixel = |r: usize, c: usize| (r * 100 + c) as f32;
        for r in 0..8 {
            for c in 0..12 {
                let fine = pixel(4 * r, 4 * c);
                let middling = pixel(r / 2 * 8, c / 2 * 8);
                let coarse = pixel(r / 4 * 16, c / 4 * 16);
                assert_eq!(out[(r, c, 0)], fine + middling + coarse, "at {r}, {c}");
            }
        }
    }

    /// By hand: each passing block doubles what goes through it (x + x), a block whose first
    /// half has a bias of -3 takes 3 off what it adds, and biases are added where they stand.
    #[test]
    fn blocks_add_to_what_they_were_given() {
        let mut tensors = zeros(WIDTHS, BLOCKS);
        for name in ["stem", "d1", "head", "out", "e1.0.a", "e1.0.b"] {
            pass(&mut tensors, name);
        }
        for name in ["r2.0.a", "r2.0.b"] {
            pass(&mut tensors, name);
        }
        tensors.get_mut("r2.0.a.b").unwrap().1[0] = -3.0;
        tensors.get_mut("out.b").unwrap().1[7] = 0.25;
        let net = Net::read(&small(&tensors)).unwrap();
        let out = net.of(&numbered(16, 16)).unwrap();
        for r in 0..4 {
            for c in 0..4 {
                let twice = 2.0 * (400 * r + 4 * c) as f32;
                let expected = twice + (twice - 3.0).max(0.0);
                assert_eq!(out[(r, c, 0)], expected);
                assert_eq!(out[(r, c, 7)], 0.25);
            }
        }
    }

    #[test]
    fn a_damaged_file_is_refused_and_named() {
        let whole = zeros(WIDTHS, BLOCKS);
        assert!(Net::read(&small(&whole)).is_ok());
        let told = |bytes: &[u8]| Net::read(bytes).unwrap_err();

        let mut lacking = whole.clone();
        lacking.remove("r3.0.b.b");
        assert_eq!(
            told(&small(&lacking)),
            NetError::Missing("r3.0.b.b".to_owned())
        );

        let mut bent = whole.clone();
        bent.insert("u2.w".to_owned(), (vec![3, 4, 2, 2], vec![0.0; 48]));
        let needed = NetError::Shape {
            name: "u2.w".to_owned(),
            found: vec![3, 4, 2, 2],
            needed: vec![3, 4, 1, 1],
        };
        assert_eq!(told(&small(&bent)), needed);

        let mut endless = whole.clone();
        endless.get_mut("e4.0.a.w").unwrap().1[3] = f32::INFINITY;
        assert_eq!(
            told(&small(&endless)),
            NetError::Number("e4.0.a.w".to_owned())
        );

        for (widths, blocks) in [
            ("2,3,4,5", "1,1,2,1,1,1"),
            ("2,3,4,0,3", "1,1,2,1,1,1"),
            ("2,3,4,5,3", "1,1,-2,1,1,1"),
            ("2,3,4,5,99999999", "1,1,2,1,1,1"),
        ] {
            let error = told(&file(&whole, widths, blocks));
            assert!(matches!(error, NetError::Property { .. }), "{error}");
        }
        let bytes = small(&whole);
        for length in [0, 7, 8, 100, bytes.len() - 1] {
            let error = told(&bytes[..length]);
            assert!(
                matches!(error, NetError::Unreadable(_)),
                "{length}: {error}"
            );
        }
    }

    /// What a strip does not see must not matter: with [`SEEN_BEYOND`] a third smaller this fails.
    #[test]
    fn strips_say_what_the_whole_says() {
        let net = Net::shipped().unwrap();
        let long = 3 * SEEN_BEYOND;
        let value = |k: usize, a: usize, b: usize| ((k + 3 * a + 7 * b) as f32).sin() * 2.0;
        let tall = Array3::from_shape_fn((INPUTS, long, 48), |(k, r, c)| value(k, r, c));
        let wide = Array3::from_shape_fn((INPUTS, 48, long), |(k, r, c)| value(k, c, r));
        for input in [tall, wide] {
            let whole = net.in_strips(&input, usize::MAX);
            let strips = net.in_strips(&input, 48 * (2 * SEEN_BEYOND + 64));
            let off = (&whole - &strips).mapv(f32::abs);
            let most = off.iter().copied().fold(0.0, f32::max);
            assert!(most < 1e-3, "{most}");
            assert!(whole.iter().any(|v| v.abs() > 1.0));
        }
    }

    #[test]
    fn an_input_of_another_shape_is_refused() {
        let net = Net::read(&small(&zeros(WIDTHS, BLOCKS))).unwrap();
        for shape in [(5, 16, 16), (6, 24, 16), (6, 16, 17), (6, 0, 16)] {
            let error = net.of(&Array3::zeros(shape)).unwrap_err();
            assert_eq!(error, NetError::Input(shape));
        }
    }
}
