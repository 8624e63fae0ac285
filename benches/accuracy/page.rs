//! `docs/accuracy.md`, wholly made from a record.

use crate::check::{self, FAULT_SLACK};
use crate::held::{ERROR_POINTS, SURE_POINTS};
use crate::record::Record;
use crate::set::Folder;
use crate::summary;
use crate::table;

/// The page, ending in a line break.
pub fn page(record: &Record) -> String {
    let summary = summary::carries_over(record);
    let failing = table::failing(record);
    let sure_wrong = table::wrong_and_sure(record);
    let slack = FAULT_SLACK * 100.0;
    let lessons = table::lessons(record);
    let fallen = table::fallen(record);
    let Record {
        measured,
        cores,
        jobs,
        ..
    } = record;
    let apart: String = (record.measured_before.iter())
        .filter(|(_, day)| *day != measured)
        .map(|(folder, day)| format!(" ({}: {day}, as the folder was then)", folder.name()))
        .collect();
    let since =
        (record.since.as_ref()).map_or(String::new(), |text| format!("**Since then**: {text}\n\n"));
    format!(
        "# How accurate it is

{since}{summary}
Measured on {measured}{apart}, written by `cargo bench --bench accuracy -- --write`; do not
edit. The same figures for programs are in [accuracy.json](accuracy.json).

**The photos are rendered**, not taken: [sample-photos](../sample-photos/README.md) says how, and what
they do not show. Figures from them are no proof for photos of yours. Photos in `tune` were looked at
while the program was written, so their figures are *in sample* and flatter it. Those in `check` are from
other scenes and were only run. *Foreign* photos were made by programs that are no part of the project, with
other cameras, prints of the card, trays, lights and colours; nothing was trained or fitted on them, and they are
not shipped. **Believe the figures of the foreign photos**, and remember that their results, too, were known to
those who wrote the program: it is no blind test.

**How it is measured.** The real program runs once a photo (poured ones of the studio a second time, as *expected*, with
`--expect` and all forms and sizes that lie there, but not how many of each; these are in no sum), `count --json` with the
`--form` that the tray holds (`any` where it is mixed or poured), after `teach` with the teach photos of the colours that
lie there and of the same world, that is printed card and camera; in the first world in daylight, under a warm lamp, and
under the photo's own light where there is such a teach photo. In the other worlds the first teach photo also measures the
printed card (`calibrate --print`).
Counted pieces are matched with true ones by position alone: one to one, so that the sum of distances is
least, no pair further apart than half a stud's pitch (4 mm) or a quarter of the piece's length, whichever is
more, between the middles of the visible parts.

{folders}
## What the columns say

- **total error**: sum over photos of |counted - true|, as a share of the true pieces. Pieces wholly under
  others count as true.
- **group error**: sum over all kinds of pieces (form, size, colour) of |counted - true|, as a share of the
  true pieces. A piece taken for another kind counts twice: there one is lacking, here one too many.
- **groups exact**: kinds that are there and whose number is right.
- **missed**, **invented**: true pieces in sight that nothing was matched with, and counted ones without a
  true one.
- **half-visible found**: of the pieces of which half or more can be seen, those that were matched.
- **size**, **form**, **colour**: of the matched pieces, those right in it. A form said as `any` is not right.
  **form shown** leaves out plates and tiles that lie on their studs' side: their undersides are the same.
- **sure**: counted pieces marked sure (a stated probability of 90 % or more). **wrong and sure**: of these,
  those wrong in form, size or colour, or invented.
- **groups sure**, **of these wrong**: groups of counted pieces whose number is stated with 90 % or more.
- **ranges hold**: kinds, there or only counted, whose true number lies within the stated range. A kind that is
  not on the sheet has the range 0 to 0; one that doubtful pieces may be, and none is, is left out.
- **CPU s**, **s**: mean processor time (all threads) and mean wall time of a photo, on {cores} processor cores which
  other programs may have used as well, {jobs} photos at a time. **CPU / decoding**: processor time over the time in which
  the `image` crate decodes the same JPEG on one thread, in the same run. **MiB**: greatest peak memory. Photos have
  3 megapixels, those with `12mp` in the name and some foreign ones 12.

## Wrong and sure

The worst that can happen, photo by photo.

{sure_wrong}
## Photos that should not be trusted

They were made to fail. Good ends are: refused with a sentence, warned of, or counted rightly all the same.

{failing}
## What is doubted, and rightly so

Counted pieces by the main reason of their doubt, which is the first on the sheet, without the failing photos; pieces
marked sure stand at the top. A piece may be wrong in several things.

{reasons}
## Does a stated probability come true?

![share right over stated probability](pictures/reliability.svg)

In ten bins, without the failing photos; intervals after Wilson.

{reliability}
## Teaching

{lessons}
## What is held

`bash .ci/run` measures anew and fails when something is worse than recorded here:

- wrong and sure, pieces or groups, in any photo: no more than recorded.
- missed, invented and wrong pieces of a photo: no more than recorded where pieces stand apart; {slack} % of the
  pieces more in clumps, pours and heaps.
- of a line: errors, invented pieces, groups exact, half-visible pieces found, size, form and colour by more than
  {ERROR_POINTS} point of a hundred; sure pieces and ranges that hold by more than {SURE_POINTS} points.
- any photo but those that were made to fail: not refused. Teaching: not refused.

Photos that were made to fail have bars of their own, whatever was recorded:
{bars}
The foreign photos are held in the same way where `CUPTALLY_FOREIGN` names their folder, and are left out where it does not.
The same machine gives the same figures every time; the margins are for other processors' last digits.
Time and memory are told, not held: they depend on the machine.

**At best.** Beside what was measured last, [accuracy.json](accuracy.json) keeps the best that each of these figures ever
was, over the same photos. `--write` refuses a figure that is worse than its best by more than the margin, unless
`--because` says why; these are:

{fallen}
## Every photo

{every_photo}",
        folders = folders(record),
        reasons = reasons(record),
        reliability = reliability(record),
        bars = check::FAILING_BARS,
        every_photo = every_photo(record),
    )
}

/// In the order in which they deserve belief.
const ORDER: [(Folder, &str); 3] = [
    (Folder::Foreign, "foreign: not made by the studio"),
    (Folder::Check, "check: not tuned on"),
    (Folder::Tune, "tune: in sample"),
];

fn folders(record: &Record) -> String {
    let mut out = String::new();
    for (folder, head) in ORDER {
        let lines = record.lines(folder);
        if lines.is_empty() {
            continue;
        }
        out += &format!("## {head}\n\n{}\n", table::lines("kind", &lines));
        for (what, told, lines) in [
            ("renderer", "By renderer", record.lines_by_renderer(folder)),
            (
                "view",
                "Scenes that were taken from several places, view by view; view a is in the sums",
                record.lines_by_view(folder),
            ),
            (
                "together",
                "The same scenes by one photo and by several counted together (`--together`)",
                record.lines_together(folder),
            ),
        ] {
            if !lines.is_empty() {
                out += &format!("{told}:\n\n{}\n", table::lines(what, &lines));
            }
        }
    }
    out
}

fn reasons(record: &Record) -> String {
    let of = |(folder, _): &(Folder, &str)| {
        let reasons = record.reasons.get(folder)?;
        Some(format!(
            "`{}`:\n\n{}\n",
            folder.name(),
            table::reasons(reasons)
        ))
    };
    ORDER.iter().filter_map(of).collect()
}

fn reliability(record: &Record) -> String {
    let mut out = String::new();
    for (folder, _) in ORDER {
        let Some(bins) = record.reliability.get(&folder) else {
            continue;
        };
        for (what, bins) in [("pieces", &bins.pieces), ("groups", &bins.groups)] {
            let table = table::reliability(bins);
            out += &format!("{what} of `{}`:\n\n{table}\n", folder.name());
        }
    }
    out
}

fn every_photo(record: &Record) -> String {
    let tables: Vec<String> = (ORDER.iter())
        .map(|(folder, _)| table::by_photo(record, *folder))
        .filter(|table| !table.is_empty())
        .collect();
    tables.join("\n")
}
