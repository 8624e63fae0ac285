//! Small pictures, changed at random, through the real program: a sentence or a sheet, never a crash or a hang.
//!
//! Some 60 in an ordinary run; `CUPTALLY_MUTATIONS=20000` for as many as one likes, `CUPTALLY_MUTATIONS=13120-13140` for
//! those of these numbers. The seed is fixed, so that a failure comes again.

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{ImageFormat, RgbImage};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use tempfile::TempDir;

const MUTATIONS: usize = 60;
/// Pictures in one run of the program; where that fails, each goes alone.
const BATCH: usize = 20;
/// No picture may take longer.
const PATIENCE: Duration = Duration::from_secs(60);
const LONGER: &str = "it took longer than";
/// Runs at a time.
const AT_A_TIME: usize = 2;

/// Random numbers: xorshift.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % most.max(1) as u64).unwrap()
    }
}

/// A picture to change.
struct Seed {
    extension: &'static str,
    bytes: Vec<u8>,
}

fn reduced(name: &str, width: u32) -> RgbImage {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("sample-photos/tune/{name}.jpg"));
    let photo = image::open(path).unwrap().into_rgb8();
    imageops::resize(&photo, width, width * 3 / 4, FilterType::Triangle)
}

fn jpeg(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, 80)
        .encode_image(picture)
        .unwrap();
    bytes
}

fn png(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// An empty tray with its card; a part of a photo without; and pictures of other kinds, most of them below the least
/// side: a changed size lets them go further.
fn seeds() -> Vec<Seed> {
    let tray = reduced("plates-sorted-d50-42", 1000);
    let part = imageops::crop_imm(&tray, 500, 400, 240, 220).to_image();
    let data = |name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/photo");
        fs::read(path.join(name)).unwrap()
    };
    let seed = |extension, bytes| Seed { extension, bytes };
    let mut seeds = vec![
        seed("jpg", jpeg(&reduced("empty-tray-0", 504))),
        seed("jpg", jpeg(&part)),
        seed("png", png(&part)),
        seed("jpg", data("tray-320x240-progressive.jpg")),
        seed("jpg", data("tray-320x240-restarts.jpg")),
        seed("png", data("p3-samples-a2b.png")),
    ];
    if cfg!(feature = "heic") {
        seeds.push(seed("heic", data("harbour-192x128-p3-icc-tiles.heic")));
        seeds.push(seed("heic", data("harbour-192x128-turn-6.heic")));
    }
    seeds
}

/// One picture in so many has a card and is counted when it survives, which takes a hundred times as long.
const CARD_IN: usize = 40;

/// Changes a picture in one to three places; the first of the seeds is the one with a card.
fn mutated(seeds: &[Seed], dice: &mut Dice) -> (&'static str, Vec<u8>) {
    let seed = match dice.below(CARD_IN) {
        0 => &seeds[0],
        _ => &seeds[1 + dice.below(seeds.len() - 1)],
    };
    let mut bytes = seed.bytes.clone();
    for _ in 0..=dice.below(3) {
        // Half of the changes in the first kilobyte, where headers and tables are.
        let reach = if dice.below(2) == 0 {
            bytes.len().min(1024)
        } else {
            bytes.len()
        };
        let at = dice.below(reach);
        let end = (at + dice.below(64)).min(bytes.len());
        match dice.below(8) {
            0 | 1 => bytes[at] ^= 1 << dice.below(8),
            2 => bytes[at] = [0, 1, 0x7F, 0x80, 0xFE, 0xFF][dice.below(6)],
            3 => bytes[at..end].fill([0, 0xFF][dice.below(2)]),
            4 => drop(bytes.drain(at..end)),
            5 => {
                let twice = bytes[at..end].to_vec();
                bytes.splice(end..end, twice);
            }
            6 => {
                let other = &seeds[dice.below(seeds.len())].bytes;
                let from = dice.below(other.len());
                let to = (from + 200).min(other.len());
                bytes.splice(at..end, other[from..to].iter().copied());
            }
            _ if seed.extension == "jpg" => {
                // Cut, with a new end.
                bytes.truncate(at.max(4));
                bytes.extend([0xFF, 0xD9]);
            }
            _ => bytes.truncate(at.max(4)),
        }
        if bytes.len() < 8 {
            break;
        }
    }
    if seed.extension == "png" && dice.below(4) > 0 {
        mend_sums(&mut bytes);
    }
    (seed.extension, bytes)
}

/// Gives the chunks of a PNG right check sums, as far as they can be followed; without, all would be refused for those.
fn mend_sums(png: &mut [u8]) {
    let mut at = 8;
    while let Some(length) = png.get(at..at + 4) {
        let length = u32::from_be_bytes(length.try_into().unwrap()) as usize;
        let end = at.saturating_add(8).saturating_add(length);
        let Some(chunk) = png.get(at + 4..end) else {
            return;
        };
        let sum = super::memory::crc(chunk).to_be_bytes();
        let Some(slot) = png.get_mut(end..end + 4) else {
            return;
        };
        slot.copy_from_slice(&sum);
        at = end + 4;
    }
}

/// What is wrong with a run over these files, if anything.
fn fault(files: &[PathBuf], home: &Path, patience: Duration) -> Option<String> {
    let errors = home.join("errors.txt");
    let mut child = Command::new(env!("CARGO_BIN_EXE_cuptally"))
        .env_remove("CUPTALLY_HOME")
        .arg("--home")
        .arg(home)
        .arg("count")
        .args(files)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(fs::File::create(&errors).unwrap())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().unwrap() {
            break status;
        }
        if begun.elapsed() > patience {
            child.kill().unwrap();
            child.wait().unwrap();
            return Some(format!("{LONGER} {patience:?}"));
        }
        std::thread::sleep(Duration::from_millis(20));
    };
    let talk = fs::read_to_string(&errors).unwrap();
    let code = status.code();
    // A panic that was caught in a decoder is one all the same.
    let panicked = talk.contains("panicked") || talk.contains("gave up");
    match code {
        Some(0 | 1 | 3) if !panicked => None,
        _ => Some(format!("{status}: {talk}")),
    }
}

#[test]
fn changed_pictures_end_in_a_sheet_or_a_sentence() {
    let asked = std::env::var("CUPTALLY_MUTATIONS").unwrap_or_else(|_| MUTATIONS.to_string());
    let (first, wanted) = asked.split_once('-').unwrap_or(("0", &asked));
    let (first, wanted): (usize, usize) = (first.parse().unwrap(), wanted.parse().unwrap());
    let seeds = seeds();
    let next = AtomicUsize::new(first / BATCH);
    let faults = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..AT_A_TIME {
            scope.spawn(|| {
                loop {
                    let batch = next.fetch_add(1, Ordering::Relaxed);
                    if batch * BATCH >= wanted {
                        return;
                    }
                    let folder = TempDir::new().unwrap();
                    let files: Vec<PathBuf> = (batch * BATCH..wanted.min((batch + 1) * BATCH))
                        .map(|number| {
                            // Not a sum, so that neighbours are not alike.
                            let start = (number as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
                            let mut dice = Dice(start | 1);
                            let (extension, bytes) = mutated(&seeds, &mut dice);
                            let path = folder.path().join(format!("{number}.{extension}"));
                            fs::write(&path, bytes).unwrap();
                            path
                        })
                        .collect();
                    let home = TempDir::new().unwrap();
                    let Some(together) = fault(&files, home.path(), PATIENCE) else {
                        continue;
                    };
                    let before = faults.lock().unwrap().len();
                    for file in &files {
                        let alone = std::slice::from_ref(file);
                        if let Some(fault) = fault(alone, home.path(), PATIENCE) {
                            let text = format!("{}: {fault}", file.display());
                            faults.lock().unwrap().push(text);
                        }
                    }
                    // All of them together may take longer; they may do nothing else that none does alone.
                    if faults.lock().unwrap().len() == before && !together.starts_with(LONGER) {
                        faults
                            .lock()
                            .unwrap()
                            .push(format!("batch {batch}: {together}"));
                    }
                }
            });
        }
    });
    let faults = faults.into_inner().unwrap();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
