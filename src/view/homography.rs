//! Plane-to-picture homography by the normalised direct linear transform
//! (Hartley and Zisserman 2004, algorithm 4.2).

use nalgebra::{DMatrix, Matrix3, Vector3};

use crate::units::{Mm, Px};

/// Homography that takes plane millimetres to pixels; `None` where the points
/// do not determine one.
pub(super) fn homography(pairs: &[(Mm, Px)]) -> Option<Matrix3<f64>> {
    if pairs.len() < 4 {
        return None;
    }
    let plane: Vec<[f64; 2]> = pairs.iter().map(|(m, _)| [m.x, m.y]).collect();
    let picture: Vec<[f64; 2]> = pairs.iter().map(|(_, p)| [p.x, p.y]).collect();
    let (from, to) = (normaliser(&plane)?, normaliser(&picture)?);
    let mut design = DMatrix::<f64>::zeros(2 * pairs.len(), 9);
    for (i, (a, b)) in plane.iter().zip(&picture).enumerate() {
        let a = from * Vector3::new(a[0], a[1], 1.0);
        let b = to * Vector3::new(b[0], b[1], 1.0);
        for k in 0..3 {
            design[(2 * i, k)] = -a[k];
            design[(2 * i, 6 + k)] = b.x * a[k];
            design[(2 * i + 1, 3 + k)] = -a[k];
            design[(2 * i + 1, 6 + k)] = b.y * a[k];
        }
    }
    // The right singular vector of the smallest singular value, by way of the
    // 9 x 9 normal matrix, which always has all nine.
    let eigen = (design.transpose() * design).symmetric_eigen();
    let smallest = eigen.eigenvalues.imin();
    let h = eigen.eigenvectors.column(smallest);
    let normalised = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], h[8]);
    let matrix = to.try_inverse()? * normalised * from;
    let scale = matrix[(2, 2)];
    (scale.abs() > 1e-12).then(|| matrix / scale)
}

/// Moves points to mean zero and mean distance sqrt(2).
fn normaliser(points: &[[f64; 2]]) -> Option<Matrix3<f64>> {
    let n = points.len() as f64;
    let mx = points.iter().map(|p| p[0]).sum::<f64>() / n;
    let my = points.iter().map(|p| p[1]).sum::<f64>() / n;
    let spread = points
        .iter()
        .map(|p| (p[0] - mx).hypot(p[1] - my))
        .sum::<f64>()
        / n;
    if spread < 1e-9 {
        return None;
    }
    let s = std::f64::consts::SQRT_2 / spread;
    Some(Matrix3::new(
        s,
        0.0,
        -s * mx,
        0.0,
        s,
        -s * my,
        0.0,
        0.0,
        1.0,
    ))
}
