//! A sign of life on stderr while photos are worked on, and only where somebody watches it on a terminal.

use crate::desk::program::STAGES;
use crate::legible::shown;
use crate::pipeline::Stage;
use indicatif::{ProgressBar, ProgressState, ProgressStyle};
use std::cell::RefCell;
use std::fmt::Write;
use std::path::Path;
use std::time::{Duration, Instant};

/// How often the sign moves: ten times a second looks like moving.
const TICK: Duration = Duration::from_millis(100);

/// Which photo is worked on, what is being done with it, for how long already and, of several photos, how long the
/// rest will take.
pub struct Progress {
    bar: ProgressBar,
    photos: usize,
    /// What was begun with a photo, and when.
    begun: RefCell<Vec<(String, Instant)>>,
    /// Whether each stage is told on a line of its own, to a program that watches.
    tells: bool,
}

impl Progress {
    /// Before the first of so many photos.
    pub fn of(photos: usize) -> Self {
        // What cannot go back to the beginning of a line would write a new one each time.
        if std::env::var_os("TERM").is_some_and(|term| term == "dumb") {
            let bar = ProgressBar::hidden();
            return Self::with(bar, photos);
        }
        // Hidden by itself where stderr is no terminal. There is no colour in it.
        let bar = ProgressBar::new(photos as u64);
        if let Ok(style) = ProgressStyle::with_template("{spinner} {prefix}{wide_msg} {time}") {
            bar.set_style(style.with_key("time", time));
        }
        bar.enable_steady_tick(TICK);
        Self::with(bar, photos)
    }

    fn with(bar: ProgressBar, photos: usize) -> Self {
        Self {
            bar,
            photos,
            begun: RefCell::default(),
            tells: std::env::var_os(STAGES).is_some_and(|tells| tells == "1"),
        }
    }

    /// Whether somebody watches it; where nobody can, it writes nothing at all.
    pub fn is_seen(&self) -> bool {
        !self.bar.is_hidden()
    }

    /// Begins with a photo.
    pub fn begin(&self, photo: &Path) {
        self.begun.borrow_mut().clear();
        let name = photo.file_name().unwrap_or(photo.as_os_str());
        let name = shown(&name.to_string_lossy());
        self.bar.set_prefix(if self.photos > 1 {
            let number = self.bar.position() + 1;
            format!("{number} of {}, {name}: ", self.photos)
        } else {
            format!("{name}: ")
        });
        self.say("opening the photo");
    }

    /// Begins with a stage.
    pub fn stage(&self, stage: Stage) {
        self.say(match stage {
            Stage::Card => "finding the card",
            Stage::Tray => "reading card and tray",
            Stage::Pieces => "finding pieces",
            Stage::Colours => "reading colours",
        });
    }

    /// Begins with what is no stage of the pipeline.
    pub fn say(&self, what: &str) {
        let now = (what.to_owned(), Instant::now());
        self.begun.borrow_mut().push(now);
        if self.tells {
            super::stage(&format!("{}{what}", self.bar.prefix()));
        }
        self.bar.set_message(shown(what));
        // Seen at once: a short stage may be over before the next tick.
        self.bar.tick();
    }

    /// What was done with a photo so far and how long each took, a line each and one for all.
    pub fn timings(&self) -> Vec<String> {
        let begun = self.begun.borrow();
        let ends = begun.iter().skip(1).map(|(_, at)| *at);
        let line = |what: &str, time: Duration| format!("{:6.2} s  {what}", time.as_secs_f64());
        let mut lines: Vec<String> = (begun.iter().zip(ends.chain([Instant::now()])))
            .map(|((what, from), to)| line(what, to.duration_since(*from)))
            .collect();
        if let Some((_, first)) = begun.first() {
            lines.push(line("in all", first.elapsed()));
        }
        lines
    }

    /// Ends with a photo.
    pub fn done(&self) {
        self.bar.inc(1);
    }

    /// Prints something without the sign in between.
    pub fn pause<T>(&self, print: impl FnOnce() -> T) -> T {
        self.bar.suspend(print)
    }
}

impl Drop for Progress {
    /// Takes the sign away, whichever way the work ended.
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// `12 s`, or `1 min 5 s, about 2 min to go` where a photo is done and others are to come.
fn time(state: &ProgressState, out: &mut dyn Write) {
    let so_far = state.elapsed();
    let _ = out.write_str(&told(so_far));
    let (done, all) = (state.pos(), state.len().unwrap_or_default());
    if done > 0 && done < all {
        let rest = so_far.mul_f64((all - done) as f64 / done as f64);
        let _ = write!(out, ", about {} to go", roughly(rest));
    }
}

/// `12 s`, `1 min 5 s`.
fn told(time: Duration) -> String {
    match (time.as_secs() / 60, time.as_secs() % 60) {
        (0, seconds) => format!("{seconds} s"),
        (minutes, 0) => format!("{minutes} min"),
        (minutes, seconds) => format!("{minutes} min {seconds} s"),
    }
}

/// A guess is told in steps that it can be right in: 5 seconds below a minute, else whole minutes.
fn roughly(time: Duration) -> String {
    let seconds = time.as_secs_f64();
    if seconds < 55.0 {
        format!("{} s", (seconds / 5.0).ceil().max(1.0) * 5.0)
    } else {
        format!("{:.0} min", (seconds / 60.0).max(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_told_as_exactly_as_they_are_known() {
        let seconds = Duration::from_secs;
        let exact = [0, 59, 60, 125].map(|s| told(seconds(s)));
        assert_eq!(exact, ["0 s", "59 s", "1 min", "2 min 5 s"]);
        let rough = [0, 1, 31, 54, 55, 89, 91].map(|s| roughly(seconds(s)));
        assert_eq!(
            rough,
            ["5 s", "5 s", "35 s", "55 s", "1 min", "1 min", "2 min"]
        );
    }
}
