//! `docs/accuracy.md`, wholly made from a record.

use crate::check::{ERROR_POINTS, FAULT_SLACK, SURE_POINTS};
use crate::record::Record;
use crate::set::Folder;
use crate::table;

/// The page, ending in a line break.
pub fn page(record: &Record) -> String {
    let check = folder(record, Folder::Check);
    let tune = folder(record, Folder::Tune);
    let failing = table::failing(record);
    let sure_wrong = table::wrong_and_sure(record);
    let slack = FAULT_SLACK * 100.0;
    let lessons = table::lessons(record);
    let Record {
        measured,
        cores,
        jobs,
        ..
    } = record;
    format!(
        "# How accurate it is

Measured on {measured}, written by `cargo bench --bench accuracy -- --write`; do not edit. The same
figures for programs are in [accuracy.json](accuracy.json).

**The photos are rendered**, not taken: [sample-photos](../sample-photos/README.md) says how, and what
they do not show. Figures from them are no proof for photos of yours. Photos in `tune` were looked at
while the program was written, so their figures are *in sample* and flatter it. Those in `check` are from
other scenes and were only run; **believe the figures of `check`**, and remember that they come from the
same renderer, and that their results were known to those who wrote the program, so that they are no blind
test.

**How it is measured.** The real program runs once a photo (poured ones a second time, as *expected*, with
`--expect` and all forms and sizes that lie there, but not how many of each; these are in no sum), `count --json` with the `--form` that the tray
holds (`any` where it is mixed), after `teach` with the teach photos of the colours that lie there: in
daylight and under a warm lamp, and under the photo's own light where there is such a teach photo.
Counted pieces are matched with true ones by position alone: one to one, so that the sum of distances is
least, no pair further apart than half a stud's pitch (4 mm) or a quarter of the piece's length, whichever is
more, between the middles of the visible parts.

## check: not tuned on

{check}
## tune: in sample

{tune}
## What the columns say

- **total error**: sum over photos of |counted - true|, as a share of the true pieces. Pieces wholly under
  others count as true.
- **group error**: sum over all kinds of pieces (form, size, colour) of |counted - true|, as a share of the
  true pieces. A piece taken for another kind counts twice: there one is lacking, here one too many.
- **groups exact**: kinds that are there and whose number is right.
- **missed**, **invented**: true pieces in sight that nothing was matched with, and counted ones without a
  true one.
- **size**, **form**, **colour**: of the matched pieces, those right in it. A form said as `any` is not right.
- **sure**: counted pieces marked sure (a stated probability of 90 % or more). **wrong and sure**: of these,
  those wrong in form, size or colour, or invented.
- **groups sure**, **of these wrong**: groups of counted pieces whose number is stated with 90 % or more.
- **ranges hold**: kinds, there or only counted, whose true number lies within the stated range. A kind that is
  not on the sheet has the range 0 to 0; one that doubtful pieces may be, and none is, is left out.
- **CPU s**, **s**: mean processor time (all threads) and mean wall time of a photo, on {cores} processor cores which
  other programs may have used as well, {jobs} photos at a time. **MiB**: greatest peak memory. Photos have
  3 megapixels, those with `12mp` in the name 12.

## Wrong and sure

The worst that can happen, photo by photo.

{sure_wrong}
## Photos that should not be trusted

They were made to fail. Good ends are: refused with a sentence, warned of, or counted rightly all the same.

{failing}
## Does a stated probability come true?

![share right over stated probability](pictures/reliability.svg)

Bins of 30 or more, without the failing photos; intervals after Wilson.

{reliability}
## Teaching

{lessons}
## What is held

`bash .ci/run` measures anew and fails when something is worse than recorded here:

- wrong and sure, pieces or groups, in any photo: no more than recorded.
- missed, invented and wrong pieces of a photo: no more than recorded where pieces stand apart; {slack} % of the
  pieces more in clumps, pours and heaps.
- of a line: errors and groups not exact by more than {ERROR_POINTS} point of a hundred; sure pieces and ranges that hold
  by more than {SURE_POINTS} points.
- a photo that was made to fail: warned of no less than recorded. Any other: not refused. Teaching: not refused.

The same machine gives the same figures every time; the margins are for other processors' last digits.
Time and memory are told, not held: they depend on the machine.

## Every photo

{check_photos}
{tune_photos}",
        reliability = reliability(record),
        check_photos = table::by_photo(record, Folder::Check),
        tune_photos = table::by_photo(record, Folder::Tune),
    )
}

fn folder(record: &Record, folder: Folder) -> String {
    table::by_kind(record, folder)
}

fn reliability(record: &Record) -> String {
    let mut out = String::new();
    for (folder, bins) in record.reliability.iter().rev() {
        for (what, bins) in [("pieces", &bins.pieces), ("groups", &bins.groups)] {
            let table = table::reliability(bins);
            out += &format!("{what} of `{}`:\n\n{table}\n", folder.name());
        }
    }
    out
}
