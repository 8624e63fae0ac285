//! Where the camera stood, and the tray as seen straight from above.
//!
//! Plane coordinates are millimetres from the card's top-left corner ([`Mm`](crate::units::Mm));
//! heights are millimetres above the tray. The world frame is right-handed: x
//! along the card, y down the card, z into the tray, so a height `h` is z = -h.

pub mod camera;
pub mod pose;
mod recall;
mod homography;
pub mod metric;

pub use camera::Camera;
pub use metric::MetricView;
pub use pose::{Pose, PoseError, fit_pose};
pub use recall::recall_camera;
