//! Weights from a safetensors file, each checked before it is used.

use half::f16;
use ndarray::{Array1, Array4};
use safetensors::{Dtype, SafeTensors};

use super::conv::Conv;
use super::net::NetError;

/// The version of names, shapes and channels that this program reads.
const FORMAT: &str = "2";
/// No width or number of blocks is larger than this; a damaged file asks for no more.
const MOST: usize = 1024;

/// An open file.
pub(super) struct Weights<'a> {
    tensors: SafeTensors<'a>,
    /// Channels of the four scales, finest first, and of the head.
    pub widths: [usize; 5],
    /// Residual blocks of `e1`, `e2`, `e3`, `e4`, `r3`, `r2`.
    pub blocks: [usize; 6],
}

impl<'a> Weights<'a> {
    /// Opens a file's bytes and reads its properties.
    ///
    /// # Errors
    /// [`NetError::Unreadable`], [`NetError::Property`].
    pub fn read(bytes: &'a [u8]) -> Result<Self, NetError> {
        let unreadable =
            |error: safetensors::SafeTensorError| NetError::Unreadable(error.to_string());
        let (_, header) = SafeTensors::read_metadata(bytes).map_err(unreadable)?;
        let property = |name: &str| {
            let properties = header.metadata().as_ref();
            properties
                .and_then(|p| p.get(name))
                .map_or("", String::as_str)
        };
        if property("format") != FORMAT {
            return Err(NetError::Property {
                name: "format",
                found: format!("'{}'", property("format")),
                needed: "'2'",
            });
        }
        let widths = listed(property("widths"), 1).ok_or_else(|| NetError::Property {
            name: "widths",
            found: format!("'{}'", property("widths")),
            needed: "five numbers from 1 to 1024",
        })?;
        let blocks = listed(property("blocks"), 0).ok_or_else(|| NetError::Property {
            name: "blocks",
            found: format!("'{}'", property("blocks")),
            needed: "six numbers from 0 to 1024",
        })?;
        Ok(Self {
            tensors: SafeTensors::deserialize(bytes).map_err(unreadable)?,
            widths,
            blocks,
        })
    }

    /// The convolution `name` of the shape (output, input, row, column).
    ///
    /// # Errors
    /// [`NetError::Missing`], [`NetError::Shape`], [`NetError::Number`].
    pub fn conv(&self, name: &str, shape: [usize; 4], stride: usize) -> Result<Conv, NetError> {
        let weights = format!("{name}.w");
        let bias = format!("{name}.b");
        let numbers = self.numbers(&weights, &shape)?;
        let wrong = || NetError::Shape {
            name: weights.clone(),
            found: vec![numbers.len()],
            needed: shape.to_vec(),
        };
        let array = Array4::from_shape_vec(shape, numbers.clone()).map_err(|_| wrong())?;
        let bias = Array1::from(self.numbers(&bias, &shape[..1])?);
        Conv::new(&array, bias, stride).ok_or_else(wrong)
    }

    fn numbers(&self, name: &str, shape: &[usize]) -> Result<Vec<f32>, NetError> {
        let missing = |_| NetError::Missing(name.to_owned());
        let tensor = self.tensors.tensor(name).map_err(missing)?;
        if tensor.shape() != shape {
            return Err(NetError::Shape {
                name: name.to_owned(),
                found: tensor.shape().to_vec(),
                needed: shape.to_vec(),
            });
        }
        let (pairs, _) = tensor.data().as_chunks::<2>();
        let numbers: Vec<f32> = pairs
            .iter()
            .map(|pair| f16::from_le_bytes(*pair).to_f32())
            .collect();
        if tensor.dtype() != Dtype::F16 || !numbers.iter().all(|v| v.is_finite()) {
            return Err(NetError::Number(name.to_owned()));
        }
        Ok(numbers)
    }
}

/// Exactly `N` numbers from `least` to [`MOST`], with commas between.
fn listed<const N: usize>(text: &str, least: usize) -> Option<[usize; N]> {
    let numbers: Option<Vec<usize>> = text
        .split(',')
        .map(|part| {
            part.trim()
                .parse()
                .ok()
                .filter(|n| (least..=MOST).contains(n))
        })
        .collect();
    numbers?.try_into().ok()
}
