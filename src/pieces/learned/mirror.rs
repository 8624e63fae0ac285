//! The tray's mirror images, as the net takes and gives them.

use ndarray::{Array3, Axis, Slice, s};

use super::input::Input;
use super::maps::{DOUBLE, Maps, NOTCH, QUADRUPLE, VOTE};
use super::net::{Net, NetError, REDUCTION};

/// First of the input's channels that say which way the lens lies; see [`super::Input`].
const LEAN: usize = 4;

/// The mean of what the net said of an input and of what it says of that one's two mirror images: a tray and
/// its mirror image are as likely, and the net errs otherwise in each.
///
/// # Errors
/// As [`Maps::of`].
pub fn with_mirrored(maps: Maps, net: &Net, input: &Input) -> Result<Maps, NetError> {
    maps.mapped(|mut sum| {
        for mirror in Mirror::BOTH {
            sum += &mirror.output(net.of(&mirror.input(&input.values))?);
        }
        Ok(sum / (1.0 + Mirror::BOTH.len() as f32))
    })
}

/// A mirror across the tray.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mirror {
    /// Left becomes right.
    LeftRight,
    /// Top becomes bottom.
    TopBottom,
}

impl Mirror {
    /// Both ways.
    const BOTH: [Self; 2] = [Self::LeftRight, Self::TopBottom];

    /// 0 for x, 1 for y.
    fn along(self) -> usize {
        usize::from(self == Self::TopBottom)
    }

    /// An input (channels, rows, columns) mirrored, and moved so far that each cell of the output
    /// still speaks for the place that it speaks for without a mirror: the first of its cells.
    fn input(self, values: &Array3<f32>) -> Array3<f32> {
        let axis = Axis(2 - self.along());
        let mut mirrored = values.view();
        mirrored.invert_axis(axis);
        let mut moved = Array3::zeros(values.dim());
        let (by, side) = ((REDUCTION - 1) as isize, values.len_of(axis) as isize);
        moved
            .slice_axis_mut(axis, Slice::from(0..side - by))
            .assign(&mirrored.slice_axis(axis, Slice::from(by..side)));
        moved
            .slice_mut(s![LEAN + self.along(), .., ..])
            .mapv_inplace(|lean| -lean);
        moved
    }

    /// The output (rows, columns, channels) for a mirrored input as it is for the input itself.
    fn output(self, mut values: Array3<f32>) -> Array3<f32> {
        let axis = Axis(1 - self.along());
        values.invert_axis(axis);
        // Directions turn the other way: sines of twice and four times the angle change their sign.
        for channel in [
            VOTE + self.along(),
            DOUBLE + 1,
            QUADRUPLE + 1,
            NOTCH + self.along(),
        ] {
            values
                .slice_mut(s![.., .., channel])
                .mapv_inplace(|value| -value);
        }
        values
    }
}

#[cfg(test)]
mod tests {
    use super::super::net::{INPUTS, OUTPUTS};
    use super::*;

    /// What stands at the first input cell of an output cell stands there in the mirrored input too.
    #[test]
    fn cells_speak_for_the_places_they_spoke_for() {
        for mirror in Mirror::BOTH {
            let (rows, columns) = (32, 48);
            let mut input = Array3::zeros((INPUTS, rows, columns));
            let mut output = Array3::zeros((rows / REDUCTION, columns / REDUCTION, OUTPUTS));
            for ((row, column, _), value) in output.indexed_iter_mut() {
                let (r, c) = (row * REDUCTION, column * REDUCTION);
                *value = (100 * row + column + 1) as f32;
                input[(0, r, c)] = *value;
            }
            let mirrored = mirror.input(&input);
            let seen = Array3::from_shape_fn(output.dim(), |(row, column, _)| {
                mirrored[(0, row * REDUCTION, column * REDUCTION)]
            });
            let back = mirror.output(seen);
            assert_eq!(back.slice(s![.., .., 0]), output.slice(s![.., .., 0]));
        }
    }

    #[test]
    fn directions_are_mirrored() {
        let mut input = Array3::zeros((INPUTS, 16, 16));
        input[(LEAN, 0, 0)] = 0.5;
        input[(LEAN + 1, 0, 0)] = 0.25;
        let last = 16 - REDUCTION;
        let across = Mirror::LeftRight.input(&input);
        assert_eq!((across[(4, 0, last)], across[(5, 0, last)]), (-0.5, 0.25));
        let down = Mirror::TopBottom.input(&input);
        assert_eq!((down[(4, last, 0)], down[(5, last, 0)]), (0.5, -0.25));
        // A direction of 30 degrees is one of 150 in a mirror from left to right, and of -30 in the other.
        let angle = 30f32.to_radians();
        for (mirror, mirrored) in [
            (Mirror::LeftRight, 150f32.to_radians()),
            (Mirror::TopBottom, -angle),
        ] {
            let mut output = Array3::zeros((4, 4, OUTPUTS));
            for (channel, times) in [(VOTE, 1.0), (DOUBLE, 2.0), (QUADRUPLE, 4.0), (NOTCH, 1.0)] {
                output[(0, 0, channel)] = (times * mirrored).cos();
                output[(0, 0, channel + 1)] = (times * mirrored).sin();
            }
            let back = mirror.output(output);
            let (row, column) = if mirror == Mirror::LeftRight {
                (0, 3)
            } else {
                (3, 0)
            };
            for (channel, times) in [(VOTE, 1.0), (DOUBLE, 2.0), (QUADRUPLE, 4.0), (NOTCH, 1.0)] {
                let off = |k: usize, want: f32| (back[(row, column, channel + k)] - want).abs();
                assert!(off(0, (times * angle).cos()) < 1e-6, "{mirror:?} {channel}");
                assert!(off(1, (times * angle).sin()) < 1e-6, "{mirror:?} {channel}");
            }
        }
    }
}
