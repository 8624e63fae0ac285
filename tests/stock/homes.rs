//! Which folder is home, rule by rule, through the real program; nobody's real home is touched.

use crate::harbour::PROGRAM;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// A user with nothing but a home folder of the system's.
struct User(TempDir);

/// How a call ended.
struct Ended {
    code: i32,
    out: String,
    err: String,
}

impl User {
    fn new() -> Self {
        let user = Self(TempDir::new().unwrap());
        fs::create_dir_all(user.path("me/club/cups")).unwrap();
        user
    }

    fn path(&self, name: &str) -> PathBuf {
        // As the program sees it: past links, such as those to a folder for temporary files.
        self.0.path().canonicalize().unwrap().join(name)
    }

    /// The home folder that the platform gives.
    fn own(&self) -> PathBuf {
        self.path(if cfg!(target_os = "macos") {
            "me/Library/Application Support/cuptally"
        } else {
            "me/.local/share/cuptally"
        })
    }

    fn command(&self, folder: &str, args: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        command
            .current_dir(self.path(folder))
            .env_clear()
            .env("HOME", self.path("me"))
            .env("USER", "mara")
            .args(args);
        command
    }

    fn run(&self, folder: &str, args: &[&str]) -> Ended {
        ended(&mut self.command(folder, args))
    }
}

fn ended(command: &mut Command) -> Ended {
    let output = command.output().unwrap();
    Ended {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

const PUT: [&str; 5] = ["stock", "put", "2 plate 2x4 rose", "--place", "cup 3"];

/// That the call put its pieces into this home, and said so once and why.
#[track_caller]
fn put_into(ended: &Ended, home: &Path, why: &str) {
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(home.join("stock.json").is_file(), "{}", ended.err);
    let told = format!("cuptally: home: {} ({why})", home.display());
    let lines = ended.err.lines().filter(|line| line.contains("home:"));
    assert_eq!(lines.collect::<Vec<_>>(), [told]);
}

#[test]
#[cfg(unix)]
fn without_a_word_it_is_the_users_own_wherever_they_are() {
    let user = User::new();
    put_into(&user.run("me", &PUT), &user.own(), "yours");
    put_into(&user.run("me/club/cups", &PUT), &user.own(), "yours");
    assert!(!user.path("me/club/cups/stock.json").exists());
    let shown = user.run("me/club", &["stock", "--find", "rose", "--json"]);
    let shown: serde_json::Value = serde_json::from_str(&shown.out).unwrap();
    assert_eq!(shown["total"]["checked"]["count"], 4);
}

#[test]
#[cfg(target_os = "linux")]
fn the_platform_may_keep_it_elsewhere() {
    let user = User::new();
    let mut command = user.command("me", &PUT);
    let ended = ended(command.env("XDG_DATA_HOME", user.path("data")));
    put_into(&ended, &user.path("data/cuptally"), "yours");
    assert!(!user.own().exists());
}

#[test]
fn a_marked_folder_here_or_above_goes_before_the_users_own() {
    for (marker, content) in [
        ("cuptally.toml", "# ours\n"),
        ("stock.json", ""),
        ("calibration/swatches.json", ""),
    ] {
        let user = User::new();
        let club = user.path("me/club");
        if marker == "stock.json" {
            let begun = user.run("me", &[&["--home", "club"][..], &PUT].concat());
            assert_eq!(begun.code, 0, "{}", begun.err);
        } else {
            fs::create_dir_all(club.join(marker).parent().unwrap()).unwrap();
            fs::write(club.join(marker), content).unwrap();
        }
        let why = format!("it holds {marker}");
        put_into(&user.run("me/club/cups", &PUT), &club, &why);
        let here = user.run("me/club", &["stock", "history"]);
        assert!(here.err.contains("/club ("), "{}", here.err);
        // The nearest of two.
        fs::write(user.path("me/club/cups/cuptally.toml"), "").unwrap();
        let cups = user.path("me/club/cups");
        put_into(
            &user.run("me/club/cups", &PUT),
            &cups,
            "it holds cuptally.toml",
        );
        assert!(!user.own().exists());
    }
}

#[test]
fn the_way_up_ends_at_the_users_folder() {
    let user = User::new();
    fs::write(user.path("cuptally.toml"), "").unwrap();
    put_into(&user.run("me/club", &PUT), &user.own(), "yours");
    fs::write(user.path("me/cuptally.toml"), "").unwrap();
    put_into(
        &user.run("me/club", &PUT),
        &user.path("me"),
        "it holds cuptally.toml",
    );
}

#[test]
fn the_environment_goes_before_a_marked_folder_and_the_option_before_both() {
    let user = User::new();
    fs::write(user.path("me/club/cuptally.toml"), "").unwrap();
    let mut command = user.command("me/club", &PUT);
    let by_environment = ended(command.env("CUPTALLY_HOME", user.path("e")));
    put_into(&by_environment, &user.path("e"), "CUPTALLY_HOME");
    let named = [&["--home", "../n"][..], &PUT].concat();
    let mut command = user.command("me/club", &named);
    let by_option = ended(command.env("CUPTALLY_HOME", user.path("e")));
    assert_eq!(by_option.code, 0, "{}", by_option.err);
    assert!(user.path("me/n/stock.json").is_file());
    assert!(by_option.err.contains("(--home)"), "{}", by_option.err);
    // An empty variable says nothing.
    let mut command = user.command("me/club", &PUT);
    let by_marker = ended(command.env("CUPTALLY_HOME", ""));
    put_into(&by_marker, &user.path("me/club"), "it holds cuptally.toml");
}

#[test]
fn an_empty_home_says_how_to_begin() {
    let user = User::new();
    let shown = user.run("me", &["stock"]);
    assert_eq!((shown.code, shown.out.as_str()), (0, ""));
    assert!(shown.err.contains("cuptally count PHOTO"), "{}", shown.err);
    assert!(!user.own().exists(), "looking made something");
}

/// What is for programs has nothing of it on stdout, and a refusal in a home that was named is one sentence.
#[test]
fn it_is_said_on_stderr_and_out_of_the_way() {
    let user = User::new();
    let shown = user.run("me", &["shapes", "--json"]);
    assert!(serde_json::from_str::<serde_json::Value>(&shown.out).is_ok());
    assert_eq!(shown.err.lines().count(), 1, "{}", shown.err);
    let mut command = user.command("me", &["post", "none.sheet.json"]);
    let refused = ended(command.env("CUPTALLY_HOME", user.path("e")));
    assert_eq!(
        (refused.code, refused.err.lines().count()),
        (1, 1),
        "{}",
        refused.err
    );
    let card = user.run("me", &["card", "--out", "card"]);
    assert!(!card.err.contains("home:"), "{}", card.err);
}
