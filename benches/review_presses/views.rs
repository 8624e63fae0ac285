//! How that person works, in either view of the page. Each press of a key and each click counts one; pointing counts nothing.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::browser::{Browser, ENTER};
use crate::person::{Called, Field, Seen, Verdict};
use crate::support::Server;

/// A person at the page.
pub struct Sitting<'a> {
    pub browser: Browser,
    pub server: &'a Server,
    pub verdicts: &'a BTreeMap<u64, Verdict>,
    /// Clicks so far; the browser counts keys.
    clicks: usize,
}

impl<'a> Sitting<'a> {
    /// Opens the page.
    pub fn new(browser: Browser, server: &'a Server, verdicts: &'a BTreeMap<u64, Verdict>) -> Self {
        browser.review(&server.address);
        Self {
            browser,
            server,
            verdicts,
            clicks: 0,
        }
    }

    /// Keys and clicks so far.
    pub fn presses(&self) -> usize {
        self.browser.presses + self.clicks
    }

    /// Pieces that are wrong as they stand, though the person could see it.
    pub fn left_wrong(&self) -> usize {
        let shown = self.server.shown();
        let pieces = shown["pieces"].as_array().unwrap();
        let wrong = |piece: &&Value| {
            let verdict = piece["id"].as_u64().and_then(|id| self.verdicts.get(&id));
            verdict.is_some_and(|verdict| verdict.is_wrong(&Called::of(piece)))
        };
        pieces.iter().filter(wrong).count()
    }

    fn verdict(&self, id: u64) -> &'a Verdict {
        self.verdicts.get(&id).unwrap_or(&Verdict::Hidden)
    }

    fn called(&self, id: u64) -> Called {
        let piece = self.browser.js(&format!(
            "fetch('api/sheet/0').then((r) => r.json()).then((s) => s.pieces.find((p) => p.id === {id}))"
        ));
        Called::of(&piece)
    }

    /// Puts one part right by its picker: the key, and a click on what it is.
    fn pick(&mut self, field: Field, seen: &Seen) {
        let label = field.label(seen);
        self.browser.kept(|b| {
            b.key(field.key());
            b.wait("document.querySelector('dialog[open] .option') !== null");
            b.run(&mark_option(&label));
            b.click("[data-pick]");
            // A form that does not come in the size asks for one.
            let size = Field::Size.label(seen);
            std::thread::sleep(std::time::Duration::from_millis(60));
            if b.js("document.querySelector('dialog[open] .option') !== null") == json!(true) {
                b.run(&mark_option(&size));
                b.click("[data-pick]");
            }
        });
        self.clicks += 1;
    }

    /// One piece after the other, until nothing is left to look at.
    pub fn one_by_one(&mut self) {
        loop {
            let title = self.browser.text(".card h2");
            if title == "Nothing left to look at" {
                return;
            }
            let Some(id) = title.strip_prefix("Piece ").and_then(|id| id.parse().ok()) else {
                // A place: nothing to count. Adding what was missed takes as much in either view.
                self.browser.kept(|b| b.key(ENTER));
                continue;
            };
            self.at_card(id);
        }
    }

    fn at_card(&mut self, id: u64) {
        let choices = self.browser.js(
            "[...document.querySelectorAll('.choices .choice')].map((b) => [b.querySelector('.choice-kind').innerText, b.querySelector('.choice-colour')?.innerText ?? ''])",
        );
        let called = self.called(id);
        let choices: Vec<Option<Called>> = (choices.as_array().unwrap().iter())
            .map(|choice| choice_called(choice, &called))
            .collect();
        let key = |at: usize| match at {
            0 => char::from(ENTER),
            at => char::from_digit(at as u32, 10).unwrap(),
        };
        let right = |is_right: &dyn Fn(&Called) -> bool| {
            (choices.iter()).position(|choice| choice.as_ref().is_some_and(is_right))
        };
        let found = match self.verdict(id) {
            Verdict::Nothing => {
                self.browser.kept(|b| b.key('x'));
                return;
            }
            Verdict::Hidden => right(&|choice| *choice == called),
            Verdict::Is(seen) => right(&|choice| seen.wrong(choice).is_empty()),
        };
        if let Some(at) = found {
            self.browser.kept(|b| b.key(key(at)));
            return;
        }
        let Verdict::Is(seen) = self.verdict(id) else {
            // No choice is what it is called: it is taken as it stands, by its own colour.
            self.browser.kept(|b| b.key('1'));
            return;
        };
        for field in seen.wrong(&called) {
            if !seen.wrong(&self.called(id)).contains(&field) {
                continue;
            }
            self.pick(field, seen);
        }
        // On to the next.
        let before = self.browser.text(".card h2");
        self.browser.key(ENTER);
        self.browser.wait(&format!(
            "document.querySelector('.card h2').innerText !== {}",
            json!(before)
        ));
    }

    /// All that are called alike at once; gives how many are left for the other view.
    pub fn side_by_side(&mut self) -> usize {
        self.browser.key('b');
        while self
            .browser
            .js("document.getElementById('side-accept').hidden")
            == json!(false)
        {
            self.seen();
            self.whole_colours();
            for id in self.crops() {
                self.at_crop(id);
            }
            if self.browser.js("document.querySelectorAll('.crop').length > 0 && !document.getElementById('side-accept').hidden") == json!(true)
                && self.is_right()
            {
                self.seen();
                self.browser.kept(|b| b.key(ENTER));
            }
        }
        let shown = self.server.shown();
        shown["open"].as_array().unwrap().len() + shown["spots"].as_array().unwrap().len()
    }

    /// On to what is left; gives whether there is anything to see of it.
    pub fn on_to_the_rest(&mut self) -> bool {
        if self.is_hidden_rest() {
            self.browser.kept(|b| b.key('k'));
            return false;
        }
        self.browser.key(ENTER);
        self.browser
            .wait("document.getElementById('side-view').hidden");
        true
    }

    fn seen(&self) {
        self.browser
            .wait("[...document.querySelectorAll('.crop img')].every((i) => i.complete && i.naturalWidth > 0)");
    }

    /// Whether nothing wrong stands on the screen by now.
    fn is_right(&self) -> bool {
        let mut ids = self.crops().into_iter();
        ids.all(|id| !self.verdict(id).is_wrong(&self.called(id)) && !self.is_unnamed(id))
    }

    /// The pieces on the screen.
    fn crops(&self) -> Vec<u64> {
        let ids = self.browser.js(
            "[...document.querySelectorAll('.crop:not(.place)')].map((b) => Number(b.dataset.id))",
        );
        let ids = ids.as_array().unwrap().iter();
        ids.filter_map(Value::as_u64).collect()
    }

    /// Whether a piece stands among those of a colour that nobody taught.
    fn is_unnamed(&self, id: u64) -> bool {
        let in_such = format!(
            "document.querySelector('.crop[data-id=\"{id}\"]')?.closest('.block').classList.contains('untaught') ?? false"
        );
        self.browser.js(&in_such) == json!(true)
    }

    /// Colours all of whose pieces on the screen really are of another that stands beside the name: one click each.
    fn whole_colours(&mut self) {
        while let Some((at, colour)) = self.whole_colour() {
            self.browser.run(&format!(
                "document.querySelectorAll('[data-pick]').forEach((o) => delete o.dataset.pick); document.querySelectorAll('.block')[{at}].querySelector('.near-name[data-colour={}]').dataset.pick = ''",
                json!(colour)
            ));
            self.browser.kept(|b| b.click("[data-pick]"));
            self.clicks += 1;
            if self.crops().is_empty() {
                return;
            }
            self.seen();
        }
    }

    /// Which colour on the screen, counted from 0, all is of which other; of two pieces or more, as one takes one press anyway.
    fn whole_colour(&self) -> Option<(usize, String)> {
        let blocks = self.browser.js(
            "[...document.querySelectorAll('.block')].map((b) => [[...b.querySelectorAll('.crop:not(.place)')].map((c) => Number(c.dataset.id)), [...b.querySelectorAll('.near-name[data-colour]')].map((n) => n.dataset.colour)])",
        );
        let blocks = blocks.as_array().unwrap().iter().enumerate();
        let mut found = blocks.filter_map(|(at, block)| {
            let ids: Vec<u64> = (block[0].as_array()?.iter())
                .filter_map(Value::as_u64)
                .collect();
            let near: Vec<&str> = (block[1].as_array()?.iter())
                .filter_map(Value::as_str)
                .collect();
            let mut colours: Vec<Option<&str>> = (ids.iter())
                .map(|id| match self.verdict(*id) {
                    // What else is wrong of it is put right first: renamed, it counts as looked at.
                    Verdict::Is(seen) if seen.wrong(&self.called(*id)) == [Field::Colour] => {
                        Some(seen.colour.as_str())
                    }
                    _ => None,
                })
                .collect();
            colours.dedup();
            match colours.as_slice() {
                [Some(colour)] if ids.len() > 1 && near.contains(colour) => {
                    Some((at, (*colour).to_owned()))
                }
                _ => None,
            }
        });
        found.next()
    }

    /// Whether nothing is left but what nobody can see.
    fn is_hidden_rest(&self) -> bool {
        let shown = self.server.shown();
        let mut open = shown["open"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(Value::as_u64);
        shown["spots"].as_array().unwrap().is_empty()
            && open.all(|id| *self.verdict(id) == Verdict::Hidden)
    }

    fn at_crop(&mut self, id: u64) {
        let called = self.called(id);
        let verdict = self.verdict(id);
        let unnamed = self.is_unnamed(id);
        if !verdict.is_wrong(&called) && !unnamed {
            return;
        }
        let crop = format!(".crop[data-id=\"{id}\"]");
        if self
            .browser
            .js(&format!("document.querySelector('{crop}') === null"))
            == json!(true)
        {
            return;
        }
        self.browser.point(&crop);
        self.browser.wait(&format!(
            "document.querySelector('{crop}').getAttribute('aria-pressed') === 'true'"
        ));
        let seen = match verdict {
            Verdict::Is(seen) => seen,
            Verdict::Nothing => {
                self.browser.kept(|b| b.key('x'));
                return;
            }
            // Nobody can see what it is called: the likeliest of what was taught.
            Verdict::Hidden => {
                self.browser.kept(|b| b.key('1'));
                return;
            }
        };
        let choices = self.browser.js(
            "[...document.querySelectorAll('.strip-choice')].map((b) => JSON.parse(b.dataset.kind))",
        );
        let choices: Vec<Called> = choices.as_array().unwrap().iter().map(Called::of).collect();
        if let Some(at) = (choices.iter()).position(|choice| seen.wrong(choice).is_empty()) {
            let key = char::from_digit(at as u32 + 1, 10).unwrap();
            self.browser.kept(|b| b.key(key));
            return;
        }
        for field in seen.wrong(&called) {
            if seen.wrong(&self.called(id)).contains(&field) {
                self.pick(field, seen);
            }
        }
    }
}

fn mark_option(label: &str) -> String {
    format!(
        "document.querySelectorAll('[data-pick]').forEach((o) => delete o.dataset.pick); [...document.querySelectorAll('dialog[open] .option')].find((o) => o.querySelector('.option-label').innerText === {}).dataset.pick = ''",
        json!(label)
    )
}

/// What a button of the card means; none for the one that asks for a name.
fn choice_called(choice: &Value, called: &Called) -> Option<Called> {
    let kind = choice[0].as_str()?;
    let (form, size) = kind.rsplit_once(' ')?;
    if !size.contains('×') {
        return None;
    }
    // The page asks in words where a form cannot be told.
    let form = match form {
        "brick, plate or tile?" => called.form.clone(),
        form => form.to_owned(),
    };
    Some(Called {
        form,
        size: size.replace('×', "x"),
        colour: choice[1].as_str()?.to_owned(),
    })
}
