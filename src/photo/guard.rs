//! A last net under the decoders of other crates.

use super::error::Problem;
use super::source::Format;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Runs a decoder, and takes its panic for a damaged file. None is known; but the
/// decoders read hostile bytes, and a batch of photos must survive one of them.
///
/// # Errors
/// What the decoder reports, or [`Problem::Damaged`] when it panicked.
pub(super) fn catch<T>(
    format: Format,
    decode: impl FnOnce() -> Result<T, Problem>,
) -> Result<T, Problem> {
    // Nothing that the closure changes is looked at again after a panic.
    catch_unwind(AssertUnwindSafe(decode))
        .unwrap_or_else(|_| Err(Problem::damaged(format, "its decoder gave up")))
}

#[cfg(test)]
#[allow(clippy::panic)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_a_sentence() {
        let result: Result<(), _> = catch(Format::Png, || panic!("index out of bounds"));
        let text = result.map_or_else(|problem| problem.to_string(), |()| String::new());
        assert_eq!(
            text,
            "this PNG file is damaged (its decoder gave up); copy it from the phone again"
        );
    }
}
