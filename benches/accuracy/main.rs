//! The accuracy table: what the real program says of photos against their truth.
//!
//! ```text
//! cargo bench --bench accuracy                        all photos, tables on stdout
//! cargo bench --bench accuracy -- --only touching     photos with that in their name
//! cargo bench --bench accuracy -- --write             docs/accuracy.md and .json made anew
//! cargo bench --bench accuracy -- --check             fails where something got worse
//! ```
//! `CUPTALLY_FOREIGN` names the folder of foreign photos ([`foreign`]); without it they are left out.
//! DEVELOPERS.md says how to use it; docs/accuracy.md is what it writes.

mod best;
mod check;
mod decode;
mod diagram;
mod doubts;
mod foreign;
mod held;
mod lessons;
mod matching;
mod page;
mod pieces;
mod program;
mod record;
mod reliability;
mod score;
mod set;
mod summary;
mod table;
mod truth;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

use anyhow::{Context, Result, bail};
use clap::Parser;

use doubts::ByReason;
use program::{Answer, Homes, Said};
use record::{Measured, Record, Together};
use reliability::{Bins, bins};
use score::{Score, Stated, score};
use set::{Folder, Photo};

/// Measures the program on photos whose truth is known.
#[derive(Parser)]
#[command(bin_name = "cargo bench --bench accuracy --")]
struct Args {
    /// Only photos whose file name has this in it; may be given again for more.
    #[arg(long, value_name = "SUBSTRING")]
    only: Vec<String>,

    /// Only photos of this part of the set; may be given again. What was last measured of the others is kept.
    #[arg(long, value_enum, value_name = "FOLDER")]
    folder: Vec<Folder>,

    /// Write docs/accuracy.md, docs/accuracy.json and docs/pictures/reliability.svg.
    #[arg(long, conflicts_with_all = ["only", "taught", "check"])]
    write: bool,

    /// Why figures are worse than their best; written beside each that has no reason yet.
    #[arg(long, value_name = "REASON", requires = "write")]
    because: Option<String>,

    /// Fail where a figure is worse than docs/accuracy.json by more than its margin.
    #[arg(long)]
    check: bool,

    /// Make the documents anew from docs/accuracy.json without measuring.
    #[arg(long, conflicts_with_all = ["write", "check", "only", "pieces", "json", "taught"])]
    render: bool,

    /// Print every wrong, missed and invented piece.
    #[arg(long)]
    pieces: bool,

    /// Print the figures as JSON instead of tables.
    #[arg(long, conflicts_with = "pieces")]
    json: bool,

    /// Photos counted at once. Seconds are comparable only at 1.
    #[arg(long, value_name = "N", default_value_t = 1)]
    jobs: usize,

    /// Take the colours as the last run taught them, which saves half a minute.
    #[arg(long)]
    taught: bool,

    /// `cargo bench` adds this.
    #[arg(long, hide = true)]
    bench: bool,
}

fn main() -> Result<()> {
    let args = Args::parse();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    if args.render {
        return write(root, &recorded(root)?);
    }
    let photos = set::photos(root)?;
    let chosen: Vec<&Photo> = photos
        .iter()
        .filter(|p| args.folder.is_empty() || args.folder.contains(&p.folder))
        .filter(|p| args.only.is_empty() || args.only.iter().any(|part| p.name.contains(part)))
        .collect();
    if chosen.is_empty() {
        bail!("there is no such photo; CUPTALLY_FOREIGN names the folder of the foreign ones");
    }
    let mut record = measure(&args, &photos, &chosen)?;
    if args.json {
        println!("{}", serde_json::to_string_pretty(&record)?);
    } else {
        tell(&record, !args.only.is_empty());
    }
    if args.write {
        let before = recorded(root)?;
        for folder in Folder::ALL {
            keep(&before, &mut record, folder);
        }
        let fallen = best::carry_on(&before, &mut record, args.because.as_deref());
        if !fallen.is_empty() {
            bail!(
                "nothing is written: worse than at best, and no reason is known; give it with --because:\n  {}",
                fallen.join("\n  ")
            );
        }
        write(root, &record)?;
    }
    if args.check {
        check(root, &record, args.only.is_empty())?;
    }
    Ok(())
}

/// The files in which the figures are kept, with what is in them.
fn files(record: &Record) -> Result<[(&'static str, String); 3]> {
    Ok([
        (RECORD, serde_json::to_string_pretty(record)? + "\n"),
        ("docs/accuracy.md", page::page(record)),
        ("docs/pictures/reliability.svg", diagram::svg(record)),
    ])
}

/// What later runs are compared with.
const RECORD: &str = "docs/accuracy.json";

fn write(root: &Path, record: &Record) -> Result<()> {
    for (name, text) in files(record)? {
        fs::write(root.join(name), text).with_context(|| format!("writing {name}"))?;
        eprintln!("written: {name}");
    }
    Ok(())
}

/// What was recorded last.
fn recorded(root: &Path) -> Result<Record> {
    let text =
        fs::read_to_string(root.join(RECORD)).with_context(|| format!("reading {RECORD}"))?;
    serde_json::from_str(&text).with_context(|| format!("in {RECORD}"))
}

/// Takes over what was last measured of a folder where this run left it out.
fn keep(before: &Record, now: &mut Record, folder: Folder) {
    let own = |m: &Measured| m.folder == folder;
    if now.photos.values().any(own) || !before.photos.values().any(own) {
        return;
    }
    let last = before.measured_before.get(&folder);
    let last = last.unwrap_or(&before.measured).clone();
    now.measured_before.insert(folder, last);
    for (name, photo) in before.photos.iter().filter(|(_, m)| own(m)) {
        now.photos.insert(name.clone(), photo.clone());
    }
    if let Some(bins) = before.reliability.get(&folder) {
        now.reliability.insert(folder, bins.clone());
    }
    if let Some(reasons) = before.reasons.get(&folder) {
        now.reasons.insert(folder, reasons.clone());
    }
    for (lesson, refused) in &before.lessons {
        let lesson = lesson.clone();
        now.lessons.entry(lesson).or_insert_with(|| refused.clone());
    }
}

/// Compares with what is recorded, and the documents with what they were made from.
fn check(root: &Path, now: &Record, complete: bool) -> Result<()> {
    let recorded = recorded(root)?;
    let mut faults = check::worse(&recorded, now, complete);
    for fallen in best::unexplained(&recorded) {
        faults.push(format!("{RECORD} gives no reason: {fallen}"));
    }
    for (name, made) in files(&recorded)? {
        if fs::read_to_string(root.join(name)).ok().as_ref() != Some(&made) {
            faults.push(format!("{name} is not what --write makes of {RECORD}"));
        }
    }
    if faults.is_empty() {
        println!("\nnothing is worse than recorded on {}", recorded.measured);
        return Ok(());
    }
    bail!(
        "worse than recorded on {} (if it is meant, run again with --write and say why):\n  {}",
        recorded.measured,
        faults.join("\n  ")
    )
}

/// Prints the tables.
fn tell(record: &Record, each: bool) {
    for folder in Folder::ALL {
        if record.photos.values().all(|m| m.folder != folder) {
            continue;
        }
        println!("\n{}:\n", folder.name());
        if each {
            println!("{}", table::by_photo(record, folder));
        }
        print!("{}", table::lines("kind", &record.lines(folder)));
        for (what, lines) in [
            ("renderer", record.lines_by_renderer(folder)),
            ("view", record.lines_by_view(folder)),
            ("together", record.lines_together(folder)),
        ] {
            if !lines.is_empty() {
                print!("\n{}", table::lines(what, &lines));
            }
        }
        if let Some(bins) = record.reliability.get(&folder) {
            println!("\npieces of {}:\n", folder.name());
            print!("{}", table::reliability(&bins.pieces));
            println!("\ngroups of {}:\n", folder.name());
            print!("{}", table::reliability(&bins.groups));
        }
        if let Some(reasons) = record.reasons.get(&folder) {
            println!("\ndoubts of {}:\n", folder.name());
            print!("{}", table::reasons(reasons));
        }
    }
    let failing = table::failing(record);
    if !failing.is_empty() {
        print!("\nphotos to be refused or warned of:\n\n{failing}");
    }
    for (lesson, refused) in &record.lessons {
        if let Some(sentence) = refused {
            println!("\nteaching from {lesson} was refused: {sentence}");
        }
    }
}

/// Teaches, counts and judges.
fn measure(args: &Args, all: &[Photo], chosen: &[&Photo]) -> Result<Record> {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("accuracy");
    let mut homes = Homes::new(folder, args.taught);
    for photo in chosen {
        homes.teach(&lessons::lessons(photo, all))?;
    }
    let judged = judge_all(args, all, chosen, &homes)?;

    let mut stated: BTreeMap<Folder, (Vec<Stated>, Vec<Stated>)> = BTreeMap::new();
    let mut reasons: BTreeMap<Folder, ByReason> = BTreeMap::new();
    let mut photos = BTreeMap::new();
    for (photo, (answer, mut score)) in chosen.iter().zip(judged) {
        // A scene that is counted twice says only once whether stated probabilities come true.
        if photo.is_in_sum() {
            let (pieces, groups) = stated.entry(photo.folder).or_default();
            pieces.extend(&score.pieces);
            groups.extend(&score.groups);
            let of_photo = std::mem::take(&mut score.reasons);
            doubts::add(reasons.entry(photo.folder).or_default(), of_photo);
        }
        photos.insert(photo.name.clone(), measured(photo, &answer, score));
    }
    let reliability = stated
        .into_iter()
        .map(|(folder, (pieces, groups))| {
            let bins = Bins {
                pieces: bins(&pieces),
                groups: bins(&groups),
            };
            (folder, bins)
        })
        .collect();
    Ok(Record {
        measured: jiff::Timestamp::now()
            .to_string()
            .chars()
            .take(10)
            .collect(),
        measured_before: BTreeMap::new(),
        since: None,
        cores: thread::available_parallelism().map_or(1, usize::from),
        jobs: args.jobs.max(1),
        lessons: homes.lessons,
        reliability,
        reasons,
        photos,
        best: best::Bests::new(),
    })
}

fn measured(photo: &Photo, answer: &Answer, score: Score) -> Measured {
    let warnings = |said: &Said| said.warnings.iter().map(|w| w.code.clone()).collect();
    Measured {
        folder: photo.folder,
        kind: photo.kind,
        renderer: Some(photo.truth.renderer.clone()),
        view: photo.truth.view.clone(),
        together: photo.further.as_ref().map(|further| Together {
            photos: 1 + further.paths.len(),
            of: further.of,
        }),
        failure: photo.truth.failure.clone(),
        refused: answer.said.as_ref().err().cloned(),
        warnings: answer.said.as_ref().map(warnings).unwrap_or_default(),
        seconds: (answer.seconds * 10.0).round() / 10.0,
        cpu_seconds: Some((answer.cpu_seconds * 10.0).round() / 10.0),
        decode_seconds: Some((answer.decode_seconds * 1e5).round() / 1e5),
        peak_mib: answer.peak_mib.round(),
        figures: score.figures,
    }
}

/// Counts the photos, some at once, and judges each; in the order given.
fn judge_all(
    args: &Args,
    all: &[Photo],
    chosen: &[&Photo],
    homes: &Homes,
) -> Result<Vec<(Answer, Score)>> {
    let next = AtomicUsize::new(0);
    let done: Mutex<BTreeMap<usize, Result<(Answer, Score)>>> = Mutex::default();
    thread::scope(|scope| {
        for _ in 0..args.jobs.max(1) {
            scope.spawn(|| {
                while let Some((index, photo)) = take(&next, chosen) {
                    let home = homes.place(&lessons::lessons(photo, all));
                    let answer = program::count(photo, &home).map(|answer| {
                        let score = score(&photo.truth, answer.said.as_ref().ok());
                        (answer, score)
                    });
                    let mut done = done.lock().unwrap_or_else(|broken| broken.into_inner());
                    if let Ok((answer, score)) = &answer {
                        say(args, photo, answer, score);
                    }
                    done.insert(index, answer);
                }
            });
        }
    });
    let done = done.into_inner().unwrap_or_else(|b| b.into_inner());
    done.into_values()
        .collect::<Result<_>>()
        .context("counting the sample photos")
}

fn take<'a>(next: &AtomicUsize, photos: &[&'a Photo]) -> Option<(usize, &'a Photo)> {
    let index = next.fetch_add(1, Ordering::Relaxed);
    Some((index, photos.get(index)?))
}

/// One line a photo as it is done, and its pieces where they are wanted.
fn say(args: &Args, photo: &Photo, answer: &Answer, score: &Score) {
    let f = &score.figures;
    eprintln!(
        "{:36} {:3} true, {:3} counted, {:2} missed, {:2} invented, {:2} wrong shape, {:2} wrong colour, {:3} sure, {} wrong and sure, {:.1} s",
        photo.name,
        f.pieces,
        f.counted,
        f.missed,
        f.invented,
        f.found - f.size_right.min(f.form_right),
        f.colour_faults(),
        f.sure,
        f.sure_wrong,
        answer.seconds,
    );
    match &answer.said {
        Err(sentence) => eprintln!("  refused: {sentence}"),
        Ok(said) if args.pieces => {
            println!("{}:", photo.name);
            pieces::print(&photo.truth, said, score);
        }
        Ok(_) => {}
    }
}
