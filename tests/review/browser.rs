//! A real Chromium, driven through WebDriver.

// The bench of the page uses its part of this too.
#![allow(dead_code)]

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::actions::{
    InputSource, KeyAction, KeyActions, MOUSE_BUTTON_LEFT, MouseActions, PointerAction,
};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tempfile::TempDir;
use tokio::runtime::Runtime;

use crate::support::PATIENCE;

/// A window of a browser of its own.
pub struct Browser {
    client: Option<Client>,
    runtime: Runtime,
    driver: Child,
    _profile: TempDir,
    /// Keys pressed so far.
    pub presses: usize,
}

/// What a window is like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Window {
    Desktop,
    Phone,
}

pub const WINDOWS: [Window; 2] = [Window::Desktop, Window::Phone];

impl Window {
    fn metrics(self) -> Value {
        match self {
            Self::Desktop => {
                json!({ "width": 1280, "height": 800, "pixelRatio": 1.0, "mobile": false, "touch": false })
            }
            Self::Phone => {
                json!({ "width": 390, "height": 844, "pixelRatio": 2.0, "mobile": true, "touch": true })
            }
        }
    }
}

impl Browser {
    /// Opens a window, light or dark.
    pub fn open(window: Window, dark: bool) -> Self {
        Self::open_as(&window.metrics(), dark)
    }

    /// Opens a window as low as on a small notebook.
    pub fn open_low() -> Self {
        let metrics = json!({ "width": 1280, "height": 720, "pixelRatio": 1.0, "mobile": false, "touch": false });
        Self::open_as(&metrics, false)
    }

    fn open_as(metrics: &Value, dark: bool) -> Self {
        let profile = tempfile::tempdir().unwrap();
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = lines
            .find_map(|line| {
                let line = line.unwrap();
                let port = line.split("successfully on port ").nth(1)?;
                Some(port.trim_end_matches('.').to_owned())
            })
            .unwrap();
        // Read on, so that the driver never waits for somebody to listen.
        std::thread::spawn(move || lines.for_each(drop));
        let scheme = if dark { 0 } else { 1 };
        let capabilities = json!({
            "goog:chromeOptions": {
                "args": [
                    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
                    format!("--user-data-dir={}", profile.path().display()),
                    format!("--blink-settings=preferredColorScheme={scheme}"),
                ],
                "mobileEmulation": { "deviceMetrics": metrics },
            },
            "goog:loggingPrefs": { "browser": "ALL" },
        });
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let client = runtime
            .block_on(
                ClientBuilder::new(HttpConnector::new())
                    .capabilities(capabilities.as_object().unwrap().clone())
                    .connect(&format!("http://127.0.0.1:{port}")),
            )
            .unwrap();
        Self {
            client: Some(client),
            runtime,
            driver,
            _profile: profile,
            presses: 0,
        }
    }

    fn client(&self) -> &Client {
        self.client.as_ref().unwrap()
    }

    /// Goes to a review's page and waits until it shows a sheet and its photo.
    pub fn review(&self, address: &str) {
        self.go(address);
        self.wait("document.body.dataset.ready !== undefined");
        self.wait("document.getElementById('photo').dataset.ready !== undefined");
    }

    /// Goes to an address.
    pub fn go(&self, address: &str) {
        self.runtime.block_on(self.client().goto(address)).unwrap();
    }

    /// What an expression gives.
    #[track_caller]
    pub fn js(&self, expression: &str) -> Value {
        let script = format!("return ({expression})");
        self.runtime
            .block_on(self.client().execute(&script, vec![]))
            .unwrap_or_else(|error| panic!("{expression}: {error}"))
    }

    /// Runs a script as it is.
    pub fn run(&self, script: &str) {
        self.runtime
            .block_on(self.client().execute(script, vec![]))
            .unwrap();
    }

    /// Runs a script that calls its last argument with what it found.
    pub fn later(&self, script: &str) -> Value {
        self.runtime
            .block_on(self.client().execute_async(script, vec![]))
            .unwrap()
    }

    /// Waits until an expression holds.
    #[track_caller]
    pub fn wait(&self, expression: &str) {
        let start = Instant::now();
        while self.js(expression) != json!(true) {
            assert!(
                start.elapsed() < PATIENCE,
                "never: {expression}; the page says: {}",
                self.js("document.body.innerText")
            );
            std::thread::sleep(Duration::from_millis(15));
        }
    }

    /// The text that an element shows.
    #[track_caller]
    pub fn text(&self, css: &str) -> String {
        let found = self.js(&format!("document.querySelector({}).innerText", json!(css)));
        found.as_str().unwrap().to_owned()
    }

    /// Presses a key, as a person does.
    pub fn key(&mut self, key: impl Into<char>) {
        self.keys(&[key.into()]);
    }

    pub fn keys(&mut self, keys: &[char]) {
        let mut actions = KeyActions::new("keyboard".to_owned());
        for &value in keys {
            self.presses += 1;
            actions = actions
                .then(KeyAction::Down { value })
                .then(KeyAction::Up { value });
        }
        self.runtime
            .block_on(self.client().perform_actions(actions))
            .unwrap();
    }

    /// Presses keys while Shift is held.
    pub fn shift(&mut self, keys: &[Key]) {
        let shift = Key::Shift.into();
        let mut actions =
            KeyActions::new("keyboard".to_owned()).then(KeyAction::Down { value: shift });
        for &key in keys {
            self.presses += 1;
            let value = key.into();
            actions = actions
                .then(KeyAction::Down { value })
                .then(KeyAction::Up { value });
        }
        actions = actions.then(KeyAction::Up { value: shift });
        self.runtime
            .block_on(self.client().perform_actions(actions))
            .unwrap();
    }

    /// Types text.
    pub fn text_in(&mut self, text: &str) {
        let keys: Vec<char> = text.chars().collect();
        self.keys(&keys);
    }

    /// Points at the middle of what a selector finds and clicks.
    #[track_caller]
    pub fn click(&self, css: &str) {
        let found = format!("document.querySelector({})", json!(css));
        self.run(&format!("{found}.scrollIntoView({{ block: 'nearest' }})"));
        let at = self.js(&format!(
            "(() => {{ const b = {found}.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; }})()"
        ));
        let [x, y] = [&at[0], &at[1]].map(|v| v.as_f64().unwrap());
        self.drag((x, y), (x, y));
    }

    /// Points at the middle of what a selector finds.
    #[track_caller]
    pub fn point(&self, css: &str) {
        let found = format!("document.querySelector({})", json!(css));
        let at = self.js(&format!(
            "(() => {{ const b = {found}.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; }})()"
        ));
        let [x, y] = [&at[0], &at[1]].map(|v| v.as_f64().unwrap().round());
        let duration = Some(Duration::from_millis(10));
        let actions = MouseActions::new("mouse".to_owned())
            // From beside it, so that the pointer moves onto it wherever it was.
            .then(PointerAction::MoveTo {
                duration,
                x: 1.0,
                y: 1.0,
            })
            .then(PointerAction::MoveTo { duration, x, y });
        self.runtime
            .block_on(self.client().perform_actions(actions))
            .unwrap();
    }

    /// Gives files to a field, as a person chooses them.
    pub fn files(&self, css: &str, files: &[std::path::PathBuf]) {
        let names: Vec<String> = files
            .iter()
            .map(|file| file.to_str().unwrap().to_owned())
            .collect();
        self.runtime.block_on(async {
            let field = self
                .client()
                .find(fantoccini::Locator::Css(css))
                .await
                .unwrap();
            field.send_keys(&names.join("\n")).await.unwrap();
        });
    }

    /// The button whose words begin so, in what is open.
    #[track_caller]
    pub fn press(&self, words: &str) {
        let find = format!(
            "[...(document.querySelector('dialog[open]') ?? document).querySelectorAll('button, a.button, label.button, [role=option]')].find((b) => b.innerText.trim().startsWith({}) && b.offsetParent)",
            json!(words)
        );
        self.wait(&format!("Boolean({find})"));
        self.run(&format!("document.querySelectorAll('[data-press]').forEach((b) => delete b.dataset.press); ({find}).dataset.press = ''"));
        self.click("[data-press]");
    }

    /// Presses the pointer at one place of the window and lets go at another.
    pub fn drag(&self, from: (f64, f64), to: (f64, f64)) {
        let to_place = |(x, y): (f64, f64)| PointerAction::MoveTo {
            duration: Some(Duration::from_millis(30)),
            x: x.round(),
            y: y.round(),
        };
        let half = ((from.0 + to.0) / 2.0, (from.1 + to.1) / 2.0);
        let mut actions = MouseActions::new("mouse".to_owned())
            .then(to_place(from))
            .then(PointerAction::Down {
                button: MOUSE_BUTTON_LEFT,
            });
        if from != to {
            actions = actions.then(to_place(half)).then(to_place(to));
        }
        let actions = actions.then(PointerAction::Up {
            button: MOUSE_BUTTON_LEFT,
        });
        self.runtime
            .block_on(self.client().perform_actions(actions))
            .unwrap();
    }

    /// Where a place of the photo is in the window.
    pub fn on_photo(&self, x: f64, y: f64) -> (f64, f64) {
        let at = self.js(&format!(
            "(() => {{ const svg = document.getElementById('photo'); const p = new DOMPoint({x}, {y}).matrixTransform(svg.getScreenCTM()); return [p.x, p.y]; }})()"
        ));
        (at[0].as_f64().unwrap(), at[1].as_f64().unwrap())
    }

    /// Corrections that were kept since the page was loaded, each measured by the page.
    pub fn actions(&self) -> usize {
        let count = self.js("performance.getEntriesByName('action').length");
        count.as_u64().unwrap() as usize
    }

    /// Does something that changes the sheet, and waits until the page says it is kept.
    #[track_caller]
    pub fn kept<T>(&mut self, work: impl FnOnce(&mut Self) -> T) -> T {
        let before = self.actions();
        let done = work(self);
        self.wait(&format!(
            "performance.getEntriesByName('action').length > {before}"
        ));
        let kept = self.text("#kept");
        assert!(kept.starts_with("Kept"), "{kept} {}", self.message());
        done
    }

    /// What the page warns of; empty when nothing.
    pub fn message(&self) -> String {
        self.text("#message")
    }

    /// The page as it prints, PDF.
    pub fn print(&self) -> Vec<u8> {
        let usual = fantoccini::wd::PrintConfiguration::builder()
            .build()
            .unwrap();
        self.runtime.block_on(self.client().print(usual)).unwrap()
    }

    /// A picture of the window as PNG.
    pub fn picture(&self) -> Vec<u8> {
        self.runtime.block_on(self.client().screenshot()).unwrap()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if let Some(client) = self.client.take() {
            let _ = self.runtime.block_on(client.close());
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

pub const ENTER: Key = Key::Enter;
pub const ESCAPE: Key = Key::Escape;
