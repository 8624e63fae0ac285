//! Which shipped maps stated how sure pieces are.

use std::sync::LazyLock;

use sha2::{Digest, Sha256};

/// The beginning of the SHA-256 of the maps that this program is shipped with (`calibration/doubt.json`). What one review
/// showed of other maps says nothing of what these state.
pub fn maps_id() -> &'static str {
    static ID: LazyLock<String> = LazyLock::new(|| {
        let digest = Sha256::digest(include_bytes!("../../../calibration/doubt.json"));
        digest.iter().take(6).map(|b| format!("{b:02x}")).collect()
    });
    &ID
}
