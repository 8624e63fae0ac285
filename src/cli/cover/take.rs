//! `cuptally cover --take`: the fetch list leaves the stock.

use crate::cli::Failure;
use crate::cli::stock::waiting;
use crate::cover::fetch::Fetch;
use crate::stock::file::{Purpose, StockFile};
use crate::stock::kind::Label;
use crate::stock::{Portion, Stamp, take};

/// Takes the pieces in one history entry; returns its number.
///
/// # Errors
/// When nothing can be built, some of the pieces are pending, they are not there any
/// more, or the stock cannot be written. Nothing is taken then.
pub fn take(
    list: &[Fetch],
    purpose: &Label,
    file: &StockFile,
    stamp: &Stamp,
) -> Result<u64, Failure> {
    if list.is_empty() {
        return Err(Failure::failed(
            "there is nothing to take: no module of the plan can be finished; see what is missing \
             with `cuptally cover` without --take",
        ));
    }
    let pending: u64 = list.iter().map(|row| row.pending).sum();
    if let Some(row) = list.iter().find(|row| row.pending > 0) {
        return Err(Failure::failed(format!(
            "{pending} of the pieces to take are pending, in {} for one, and what nobody has looked \
             at is not taken on trust; look with `cuptally review`, take them as counted with `cuptally \
             stock confirm`, or take what is certain with --certain",
            row.place
        )));
    }
    let portions: Vec<Portion> = list
        .iter()
        .map(|row| Portion {
            place: row.place.clone(),
            kind: row.kind.clone(),
            count: row.take,
        })
        .collect();
    let recorded = file.update(
        Purpose::Amend,
        &mut waiting,
        |stock| -> Result<_, Failure> {
            let note = Label::new(&format!("for {purpose}"));
            Ok(take::take(stock, &portions, Some(note), stamp)?)
        },
    )?;
    Ok(recorded.entry)
}
