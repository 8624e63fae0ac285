//! The desk's questions and their answers, without the sockets.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use serde::Deserialize;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

use super::arrivals::{Arrivals, Arriving, NotArrived};
use super::ask::{Ask, Folders};
use super::counts::{Count, Counts, Stand};
use super::order::Order;
use super::pictures::{NoPicture, Pictures};
use super::plans;
use super::program::{Answer, Program};
use super::reviewing::{Home, NoReview, Reviewing};
use super::sheets::Sheets;
use super::state::{self, PHOTOS, PLANS, SHEETS, marked_file, sheet_file, state};
use crate::review::routes::Review;
use crate::serve::phones::Phones;
use crate::serve::qr::modules;

/// Everything that the desk works with.
pub struct Desk {
    program: Program,
    home: PathBuf,
    arrivals: Arrivals,
    counts: Counts,
    sheets: Sheets,
    pictures: Pictures,
    reviewing: Reviewing,
    /// The sample photos, where they are at hand.
    samples: Option<PathBuf>,
    /// The door for phones, where it is open.
    phones: Option<Arc<Phones>>,
    end: Box<dyn Fn() + Send + Sync>,
}

/// Why a question has no answer.
#[derive(Debug, thiserror::Error)]
pub(super) enum NoAnswer {
    #[error(transparent)]
    Arrival(#[from] NotArrived),
    #[error(transparent)]
    Plan(#[from] plans::PlanError),
    #[error(transparent)]
    Review(#[from] NoReview),
    #[error(transparent)]
    Unasked(#[from] super::ask::Unasked),
    #[error("the page asked something that this program does not know ({0}); load the page again")]
    Question(#[from] serde_json::Error),
    #[error("there is no photo '{0}' any more; load the page again")]
    NoPhoto(String),
    #[error("there is no file '{0}' any more; load the page again")]
    NoFile(String),
    #[error("{0} is being counted; wait for it, or end that count")]
    Busy(String),
    #[error("{0} stands for pieces that were counted; its sheet would lose its photo")]
    Counted(String),
    #[error("name at least one photo")]
    NoPhotos,
    #[error("{}", .0.join("\n"))]
    Refused(Vec<String>),
    #[error("the program could not be run: {0}; start it again")]
    Run(#[from] std::io::Error),
    #[error(transparent)]
    Picture(#[from] NoPicture),
}

/// An answer for the page.
pub(super) type Told = Result<Vec<u8>, NoAnswer>;

fn told(value: &impl serde::Serialize) -> Told {
    Ok(serde_json::to_vec(value)?)
}

fn read<T: DeserializeOwned>(body: &[u8]) -> Result<T, NoAnswer> {
    Ok(serde_json::from_slice(body)?)
}

impl Desk {
    /// In a home folder; `end` is called when the page says that it is done.
    ///
    /// # Errors
    /// When the home folder cannot be used, as a sentence.
    pub fn open(
        folder: &Path,
        home: Home,
        samples: Option<PathBuf>,
        phones: Option<Arc<Phones>>,
        end: impl Fn() + Send + Sync + 'static,
    ) -> Result<Self, String> {
        let program = Program::in_home(folder).map_err(|cause| {
            format!("the system does not tell where this program lies: {cause}")
        })?;
        Ok(Self {
            home: folder.to_owned(),
            arrivals: Arrivals::in_folder(&folder.join(PHOTOS)),
            counts: Counts::by(program.clone()),
            sheets: Sheets::default(),
            pictures: Pictures::default(),
            reviewing: Reviewing::new(folder, home).map_err(|e| e.to_string())?,
            samples,
            phones,
            end: Box::new(end),
            program,
        })
    }

    /// The review that is a room of it.
    pub(super) fn reviewing(&self) -> Arc<Review> {
        self.reviewing.review()
    }

    /// Ends the desk.
    pub(super) fn end(&self) {
        (self.end)();
    }

    /// Begins with a photo that was announced.
    pub(super) fn begin(&self, name: &str) -> Result<Arriving, NoAnswer> {
        Ok(self.arrivals.begin(name)?)
    }

    fn folders(&self) -> (PathBuf, PathBuf) {
        (self.home.join(PHOTOS), self.home.join(PLANS))
    }

    /// Everything, unless the page shows just that.
    pub(super) fn state(&self, known: &str, from_afar: bool) -> Told {
        let (stock, fault) = state::stock(&self.home);
        let (sheets, mut faults) = self.sheets.in_folder(&self.home, &stock);
        faults.splice(0..0, fault);
        let state = state(
            &self.home,
            self.arrivals.list(),
            &self.counts.stands(),
            (&stock, faults),
            sheets,
        );
        let text = serde_json::to_value(&state)?;
        let digest = Sha256::digest(text.to_string().as_bytes());
        let version: String = digest.iter().take(8).map(|b| format!("{b:02x}")).collect();
        if version == known {
            return told(&serde_json::json!({ "version": version }));
        }
        told(&serde_json::json!({
            "version": version, "state": text, "samples": self.samples.is_some(), "phone": from_afar,
        }))
    }

    pub(super) fn announce(&self, body: &[u8]) -> Told {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Coming {
            names: Vec<String>,
        }
        let coming: Coming = read(body)?;
        told(&self.arrivals.announce(&coming.names)?)
    }

    pub(super) fn count(&self, body: &[u8]) -> Told {
        let order: Order = read(body)?;
        if order.photos.is_empty() {
            return Err(NoAnswer::NoPhotos);
        }
        for photo in &order.photos {
            self.photo_file(photo)?;
        }
        let folder = self.home.join(PHOTOS);
        let counts = (order.counts().into_iter())
            .map(|photos| Count {
                words: order.command(&photos, &folder),
                photos,
            })
            .collect();
        match self.counts.ask(counts).first() {
            Some(busy) => Err(NoAnswer::Busy(busy.clone())),
            None => told(&()),
        }
    }

    pub(super) fn end_count(&self, body: &[u8]) -> Told {
        let One { photo } = read(body)?;
        told(&self.counts.end(&photo))
    }

    /// Takes a photo away that nothing was counted from.
    pub(super) fn remove(&self, body: &[u8]) -> Told {
        let One { photo } = read(body)?;
        let stand = self.counts.stands().remove(&photo);
        if matches!(stand, Some(Stand::Waiting | Stand::Counting { .. })) {
            return Err(NoAnswer::Busy(photo));
        }
        let stock = state::stock(&self.home).0;
        let sheets = self.sheets.in_folder(&self.home, &stock).0;
        if sheets.iter().any(|sheet| sheet.own_photos.contains(&photo)) {
            return Err(NoAnswer::Counted(photo));
        }
        self.arrivals.remove(&photo)?;
        self.counts.forget(&photo);
        told(&())
    }

    fn photo_file(&self, name: &str) -> Result<PathBuf, NoAnswer> {
        let path = self.arrivals.path(name);
        path.ok_or_else(|| NoAnswer::NoPhoto(name.to_owned()))
    }

    /// Has a command done, and gives what came of it.
    pub(super) fn ask(&self, body: &[u8]) -> Told {
        let ask: Ask = read(body)?;
        if let Some(photo) = ask.photos() {
            self.photo_file(photo)?;
        }
        let (photos, plans) = self.folders();
        for plan in ask.plans() {
            if !plans::list(&plans).iter().any(|listed| listed.name == plan) {
                return Err(NoAnswer::NoFile(plan.to_owned()));
            }
        }
        let folders = Folders {
            photos: &photos,
            plans: &plans,
        };
        told(&self.done(&ask.command(&folders)?)?)
    }

    fn done(&self, words: &[OsString]) -> Result<Answer, NoAnswer> {
        let answer = self.program.ask(words)?;
        if answer.is_done() {
            return Ok(answer);
        }
        Err(NoAnswer::Refused(match answer.said.is_empty() {
            true => vec!["that could not be done, and no reason was given; try again".to_owned()],
            false => answer.said,
        }))
    }

    /// The pieces of a photo that is to teach, as a count sees them; nothing of it is kept.
    pub(super) fn look(&self, body: &[u8]) -> Told {
        let One { photo } = read(body)?;
        self.photo_file(&photo)?;
        let aside = tempfile::tempdir()?;
        let order = Order {
            photos: vec![photo],
            ..Order::default()
        };
        let mut words = order.command(&order.photos, &self.home.join(PHOTOS));
        let mut out = OsString::from("--out=");
        out.push(aside.path());
        words.insert(1, out);
        told(&self.done(&words)?)
    }

    /// Takes a sheet up for review, and those of the folder that nobody has checked after it; gives its number.
    pub(super) fn review(&self, body: &[u8]) -> Told {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Wanted {
            #[serde(default)]
            sheet: Option<String>,
        }
        let Wanted { sheet } = read(body)?;
        let stock = state::stock(&self.home).0;
        let folder = self.home.join(SHEETS);
        let shorts = self.sheets.in_folder(&self.home, &stock).0;
        let mut paths = Vec::new();
        if let Some(sheet) = &sheet {
            let path = sheet_file(&self.home, sheet);
            paths.push(path.ok_or_else(|| NoAnswer::NoFile(sheet.clone()))?);
        }
        for short in shorts.iter().filter(|short| !short.checked) {
            let path = folder.join(&short.sheet);
            if !paths.contains(&path) {
                paths.push(path);
            }
        }
        told(&serde_json::json!({ "number": self.reviewing.take_up(&paths)? }))
    }

    pub(super) fn keep_plan(&self, name: &str, body: &[u8]) -> Told {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Text {
            text: String,
            /// The version that was changed; none for a new one.
            #[serde(default)]
            was: Option<String>,
        }
        let Text { text, was } = read(body)?;
        told(&plans::keep(
            &self.program,
            &self.home.join(PLANS),
            name,
            (&text, was.as_deref()),
        )?)
    }

    pub(super) fn plan(&self, name: &str) -> Told {
        told(&plans::read(&self.home.join(PLANS), name)?)
    }

    /// The door for phones: how a phone comes in, and which have.
    pub(super) fn phones(&self) -> Told {
        let shown = self
            .phones
            .as_ref()
            .map(|phones| phones.shown(Instant::now()));
        let code = shown
            .as_ref()
            .and_then(|shown| modules(shown.address.as_ref()?));
        let rows = code.map(|rows| {
            let row = |row: Vec<bool>| {
                row.into_iter()
                    .map(|dark| if dark { '#' } else { ' ' })
                    .collect()
            };
            rows.into_iter().map(row).collect::<Vec<String>>()
        });
        told(&serde_json::json!({ "door": shown, "code": rows }))
    }

    pub(super) fn new_code(&self) -> Told {
        if let Some(phones) = &self.phones {
            phones
                .new_code(Instant::now())
                .map_err(|cause| std::io::Error::other(cause.to_string()))?;
        }
        self.phones()
    }

    pub(super) fn send_away(&self, body: &[u8]) -> Told {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Away {
            number: u32,
        }
        let Away { number } = read(body)?;
        if let Some(phones) = &self.phones {
            phones.send_away(number);
        }
        self.phones()
    }

    /// All shapes that are looked for, drawn.
    pub(super) fn shapes(&self) -> Told {
        let aside = tempfile::tempdir()?;
        let mut out = OsString::from("--out=");
        out.push(aside.path());
        self.done(&["shapes".into(), out])?;
        Ok(std::fs::read(aside.path().join("shapes.svg"))?)
    }

    /// The card to print.
    pub(super) fn card(&self, paper: &str) -> Told {
        let aside = tempfile::tempdir()?;
        let mut out = OsString::from("--out=");
        out.push(aside.path());
        let words = ["card".into(), out, format!("--paper={paper}").into()];
        self.done(&words)?;
        Ok(std::fs::read(aside.path().join("card.pdf"))?)
    }

    pub(super) fn picture(&self, name: &str, long_side: u32) -> Told {
        let path = self.photo_file(name)?;
        Ok(self.pictures.of(&path, long_side)?.to_vec())
    }

    pub(super) fn marked(&self, sheet: &str) -> Told {
        let path = marked_file(&self.home, sheet);
        let path = path.ok_or_else(|| NoAnswer::NoFile(sheet.to_owned()))?;
        Ok(std::fs::read(path)?)
    }

    /// Brings the sample photos in, to try the page with.
    pub(super) fn samples(&self) -> Told {
        let names: Vec<String> = SAMPLES.map(str::to_owned).into();
        let folder = self.samples.as_ref().ok_or(NoAnswer::NoPhotos)?;
        let given = self.arrivals.announce(&names)?;
        for (name, given) in names.iter().zip(&given) {
            let mut arriving = self.arrivals.begin(given)?;
            arriving.write(&std::fs::read(folder.join(name))?)?;
            arriving.finish()?;
        }
        told(&given)
    }
}

/// A tray of plates and one of tiles, to try the page with.
const SAMPLES: [&str; 2] = ["plates-sorted-d50-42.jpg", "tiles-sorted-led-b3-55.jpg"];

/// A photo by its name.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct One {
    photo: String,
}
