//! A command's words, put together so that no name passes for an option.

use std::ffi::OsString;
use std::path::Path;

/// A command in the making.
#[derive(Debug, Default)]
pub(super) struct Command(pub(super) Vec<OsString>);

impl Command {
    /// Words as they are.
    pub(super) fn words(&mut self, words: &[&str]) -> &mut Self {
        self.0.extend(words.iter().map(OsString::from));
        self
    }

    /// An option without a value, if it is on.
    pub(super) fn flag(&mut self, name: &str, on: bool) -> &mut Self {
        self.0.extend(on.then(|| format!("--{name}").into()));
        self
    }

    /// An option with its value behind `=`.
    pub(super) fn option(&mut self, name: &str, value: &str) -> &mut Self {
        self.0.push(format!("--{name}={value}").into());
        self
    }

    /// The same with a file.
    pub(super) fn path_option(&mut self, name: &str, value: &Path) -> &mut Self {
        let mut option = OsString::from(format!("--{name}="));
        option.push(value);
        self.0.push(option);
        self
    }

    /// The same, unless nothing is said.
    pub(super) fn unless_empty(&mut self, name: &str, value: &str) -> &mut Self {
        if value.trim().is_empty() {
            return self;
        }
        self.option(name, value)
    }

    /// What is no option, whatever it begins with.
    pub(super) fn rest(&mut self, rest: &[String]) -> &mut Self {
        self.0.push("--".into());
        self.0.extend(rest.iter().map(OsString::from));
        self
    }

    /// A file of a folder, by its name.
    pub(super) fn file(&mut self, folder: &Path, name: &str) -> &mut Self {
        self.0.extend(["--".into(), folder.join(name).into()]);
        self
    }
}
