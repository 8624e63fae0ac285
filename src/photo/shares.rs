//! How a picture is made smaller: each new pixel is the mean over its area.

/// Share of each source pixel in one target pixel, for every target pixel of a row
/// or column: the first source pixel, and the weights from there on, which sum to 1.
pub struct Shares(pub Vec<(usize, Vec<f32>)>);

impl Shares {
    /// The shares where `from` pixels become `to`.
    pub fn of(from: usize, to: usize) -> Self {
        let step = from as f64 / to as f64;
        let share = |target: usize| {
            let (start, end) = (target as f64 * step, (target + 1) as f64 * step);
            let first = (start as usize).min(from - 1);
            let last = (end.ceil() as usize).clamp(first + 1, from);
            let covered = |source: usize| {
                let left = start.max(source as f64);
                let right = end.min((source + 1) as f64);
                ((right - left).max(0.0) / step) as f32
            };
            (first, (first..last).map(covered).collect())
        };
        Self((0..to).map(share).collect())
    }
}
