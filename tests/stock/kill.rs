//! `kill -9` at random moments and at each system call, system calls that fail, and
//! many processes at once: the stock file is the one before or the one after.

#![cfg(unix)]

use crate::harbour::{Harbour, PROGRAM, Row, sound};
use cuptally::stock::{Stock, What};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

const ROSE: Row = ("plate", "2x4", "rose", 7, 7, 7);

/// Numbers that look random and come out the same each time (xorshift).
fn seeded(mut state: u64) -> impl FnMut() -> u64 {
    move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    }
}

/// A stock of 600 kinds, so that writing it takes a while.
fn stocked() -> Harbour {
    let harbour = Harbour::new();
    let mut csv = String::from("place,form,size,colour,count\ncup 3,plate,2x4,rose,9000\n");
    for n in 0..600 {
        csv += &format!("cup {},plate,2x4,colour {n},{n}\n", n % 40 + 4);
    }
    fs::write(harbour.path("all.csv"), csv).unwrap();
    harbour.run(&["stock", "import", "all.csv"]).code(0);
    harbour
}

/// By turns a post, a take, an undo; but a post where an undo would reach the import,
/// on which all turns stand: which turns come through their kill is chance.
fn next_change(old: &Stock, turn: u32) -> What {
    let made = |what| {
        old.history
            .iter()
            .filter(|entry| entry.what == what)
            .count()
    };
    let standing = made(What::Add) + made(What::Take) > made(What::Undo);
    match turn % 3 {
        1 => What::Take,
        2 if standing => What::Undo,
        _ => What::Add,
    }
}

fn words(harbour: &Harbour, change: &What, turn: u32) -> Vec<String> {
    let words: &[&str] = match change {
        What::Take => &["stock", "take", "2 plate 2x4 rose", "--from", "cup 3"],
        What::Undo => &["stock", "undo"],
        _ => {
            let sheet = harbour.checked(&format!("turn {turn}"), Some("cup 3"), &[ROSE]);
            return ["post", &sheet, "--add"].map(str::to_owned).to_vec();
        }
    };
    words.iter().map(|&word| word.to_owned()).collect()
}

fn call(harbour: &Harbour, args: &[String]) -> Command {
    let mut command = Command::new(PROGRAM);
    command
        .current_dir(harbour.path(""))
        .env_clear()
        .env("CUPTALLY_HOME", "home")
        .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
        .env("USER", "mara")
        .args(args)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    command
}

fn unfinished(home: &Path) -> bool {
    let items = fs::read_dir(home).unwrap();
    items.filter_map(Result::ok).any(|item| {
        let name = item.file_name();
        name.to_string_lossy().ends_with(".tmp")
    })
}

fn running(child: &mut Child) -> bool {
    child.try_wait().unwrap().is_none()
}

/// What kills did.
#[derive(Debug, Default)]
struct Tally {
    before: u32,
    after: u32,
    unfinished: u32,
}

fn kill_at_random(kills: u32, seed: u64) -> Tally {
    let harbour = stocked();
    let home = harbour.home();
    let mut random = seeded(seed);
    let mut tally = Tally::default();
    let mut usual = Duration::ZERO;
    let mut old = harbour.stock();
    for turn in 0..kills {
        let change = next_change(&old, turn);
        let mut command = call(&harbour, &words(&harbour, &change, turn));
        let start = Instant::now();
        // Now and then one may end, to know how long that takes just now.
        if turn % 25 == 0 {
            let ended = command.stderr(Stdio::piped()).output().unwrap();
            assert!(ended.status.success(), "turn {turn}: {ended:?}");
            usual = start.elapsed();
        } else {
            let mut child = command.spawn().unwrap();
            let share = u32::try_from(random() % 1000).unwrap();
            if turn % 2 == 0 {
                // Anywhere from the beginning to a little after the usual end.
                thread::sleep(usual * (share + share / 4) / 1000);
            } else {
                // While it writes: when its temporary file is seen, or soon after.
                while running(&mut child) && !unfinished(&home) {}
                thread::sleep(Duration::from_micros(u64::from(share) * 3));
            }
            child.kill().unwrap(); // SIGKILL
            child.wait().unwrap();
        }
        tally.unfinished += u32::from(unfinished(&home));
        let new = harbour.stock();
        if new == old {
            tally.before += 1;
        } else {
            one_more(&old, &new, &change);
            tally.after += 1;
        }
        sound(&home.join("stock.json.last"));
        old = new;
    }
    // The next writer works and tidies up.
    let sheet = harbour.checked("end", Some("cup 3"), &[ROSE]);
    harbour.run(&["post", &sheet, "--add"]).code(0);
    assert!(!unfinished(&home));
    tally
}

/// The history is the old one and one entry more, that of this change.
fn one_more(old: &Stock, new: &Stock, change: &What) {
    let (last, before) = new.history.split_last().unwrap();
    assert_eq!(before, old.history);
    assert_eq!(&last.what, change);
}

/// In all a thousand by default; `CUPTALLY_KILLS` says another number.
#[test]
fn a_kill_at_any_moment_leaves_the_stock_before_or_after() {
    let kills = std::env::var("CUPTALLY_KILLS").map_or(1000, |text| text.parse().unwrap());
    let workers = 4;
    let start = Instant::now();
    let tallies: Vec<Tally> = thread::scope(|scope| {
        let run = |n: u32| {
            scope.spawn(move || kill_at_random(kills / workers, 20_260_502 + u64::from(n)))
        };
        let all: Vec<_> = (0..workers).map(run).collect();
        all.into_iter()
            .map(|worker| worker.join().unwrap())
            .collect()
    });
    let sum = |part: fn(&Tally) -> u32| tallies.iter().map(part).sum::<u32>();
    let (before, after, torn) = (sum(|t| t.before), sum(|t| t.after), sum(|t| t.unfinished));
    println!(
        "{kills} kills in {:.0} s: {before} left the stock as before, {after} after; {torn} fell into the writing",
        start.elapsed().as_secs_f64()
    );
    assert!(
        before > kills / 10,
        "kills came too late: {before} of {kills} before"
    );
    assert!(
        after > kills / 20,
        "kills came too early: {after} of {kills} after"
    );
    assert!(
        torn > kills / 50,
        "too few kills fell into the writing: {torn} of {kills}"
    );
}

/// Files of the home folder.
fn files(home: &Path) -> BTreeMap<String, Vec<u8>> {
    let items = fs::read_dir(home).unwrap().map(|item| item.unwrap());
    items
        .map(|item| {
            (
                item.file_name().into_string().unwrap(),
                fs::read(item.path()).unwrap(),
            )
        })
        .collect()
}

fn put_back(home: &Path, wanted: &BTreeMap<String, Vec<u8>>) {
    for name in files(home).keys() {
        fs::remove_file(home.join(name)).unwrap();
    }
    for (name, bytes) in wanted {
        fs::write(home.join(name), bytes).unwrap();
    }
}

/// Runs a call under strace with this expression, and without the outer environment.
fn traced(harbour: &Harbour, expression: &str, args: &[String]) -> Output {
    Command::new("strace")
        .args(["-f", "-qq", "-o", "trace.txt", "-e", expression])
        .arg(PROGRAM)
        .args(args)
        .current_dir(harbour.path(""))
        .env_remove("NO_COLOR")
        .env("CUPTALLY_HOME", "home")
        .env("CUPTALLY_NOW", "2026-05-02T10:12:00Z")
        .env("USER", "mara")
        .output()
        .unwrap()
}

/// Whether system calls can be traced here.
fn can_trace() -> bool {
    if !crate::support::need_tool("strace", "strace") {
        return false;
    }
    let traced = Command::new("strace")
        .args(["-o", "/dev/null", "true"])
        .output()
        .unwrap();
    if !traced.status.success() {
        eprintln!("skipped: this system does not allow tracing");
    }
    traced.status.success()
}

/// Every system call of a change from the first that names the stock, as its name
/// and how many of that name came before it, itself counted.
fn system_calls(harbour: &Harbour, args: &[String]) -> Vec<(String, usize)> {
    let ended = traced(harbour, "trace=all", args);
    assert!(ended.status.success(), "{ended:?}");
    let text = fs::read_to_string(harbour.path("trace.txt")).unwrap();
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut begun = false;
    let mut calls = Vec::new();
    for line in text.lines() {
        // `1234 openat(AT_FDCWD, ...`
        let Some((_, rest)) = line.split_once(' ') else {
            continue;
        };
        let Some((name, _)) = rest.trim_start().split_once('(') else {
            continue;
        };
        if !name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_') {
            continue;
        }
        let count = counts.entry(name).or_default();
        *count += 1;
        begun |= line.contains("stock.json");
        if begun && !name.starts_with("exit") {
            calls.push((name.to_owned(), *count));
        }
    }
    assert!(calls.len() > 30, "{text}");
    calls
}

/// Three changes, each with the folder before it, what it leaves there, and its calls.
fn each_change(
    mut work: impl FnMut(&Harbour, &[String], &BTreeMap<String, Vec<u8>>, &[u8], &[(String, usize)]),
) {
    for change in [What::Add, What::Take, What::Undo] {
        let harbour = stocked();
        harbour
            .run(&["stock", "put", "5 plate 2x4 rose", "--place", "cup 3"])
            .code(0);
        let home = harbour.home();
        let before = files(&home);
        let args = words(&harbour, &change, 0);
        let calls = system_calls(&harbour, &args);
        let after = fs::read(harbour.stock_file()).unwrap();
        assert_ne!(after, before["stock.json"]);
        work(&harbour, &args, &before, &after, &calls);
    }
}

#[test]
fn a_kill_at_each_system_call_leaves_the_file_before_or_after() {
    if !can_trace() {
        return;
    }
    let (mut kills, mut as_before, mut as_after) = (0, 0, 0);
    each_change(|harbour, args, before, after, calls| {
        let home = harbour.home();
        for (name, count) in calls {
            put_back(&home, before);
            let expression = format!("inject={name}:signal=SIGKILL:when={count}");
            let ended = traced(harbour, &expression, args);
            kills += u32::from(!ended.status.success());
            let now = fs::read(harbour.stock_file()).unwrap();
            if now == before["stock.json"] {
                as_before += 1;
            } else {
                assert!(
                    now == after,
                    "killed at {name} {count}: neither before nor after"
                );
                as_after += 1;
            }
            // The copy is whole as well: the one before, or the one before that.
            let last = fs::read(home.join("stock.json.last")).unwrap();
            assert!(last == before["stock.json"] || last == before["stock.json.last"]);
            // And nobody is locked out.
            harbour
                .run(&["stock", "put", "1 plate 2x4 rose", "--place", "cup 3"])
                .code(0);
            assert!(!unfinished(&home));
        }
    });
    println!("{kills} kills, each at another system call: {as_before} before, {as_after} after");
    assert!(
        kills > 100 && as_before > 60 && as_after > 5,
        "{kills} {as_before} {as_after}"
    );
}

/// The disk fails or is full at each of the calls that touch it: exit code and file
/// agree, and whoever is told that nothing was changed can rely on it.
#[test]
fn a_system_call_that_fails_leaves_the_file_before_or_after_and_says_so() {
    if !can_trace() {
        return;
    }
    let (mut refused, mut done) = (0, 0);
    each_change(|harbour, args, before, after, calls| {
        let home = harbour.home();
        for (name, count) in calls {
            let error = match name.as_str() {
                "write" | "openat" => "ENOSPC",
                "fsync" | "read" | "rename" | "renameat" | "renameat2" | "fchmod" | "statx"
                | "flock" | "getdents64" | "unlink" | "lseek" => "EIO",
                _ => continue,
            };
            put_back(&home, before);
            let expression = format!("inject={name}:error={error}:when={count}");
            let ended = traced(harbour, &expression, args);
            let now = fs::read(harbour.stock_file()).unwrap();
            let said = String::from_utf8_lossy(&ended.stderr).into_owned();
            let at = format!("{error} at {name} {count}: {said}");
            if ended.status.success() {
                assert!(now == after, "{at}");
                done += 1;
                continue;
            }
            assert_eq!(ended.status.code(), Some(1), "{at}");
            let is_after = now == after;
            assert!(is_after || now == before["stock.json"], "{at}");
            // Only what was written and may yet be lost, or could not be told, is new.
            let warned =
                said.contains("did not confirm it") || said.contains("cannot write the result");
            assert_eq!(is_after, warned, "{at}");
            assert!(
                said.starts_with("cuptally: ") || said.is_empty() && name == "write",
                "{at}"
            );
            refused += 1;
        }
    });
    println!("{refused} failures told, {done} did not matter");
    assert!(refused > 40, "{refused}");
}

#[test]
fn eight_processes_posting_200_sheets_lose_none_and_post_none_twice() {
    let harbour = Harbour::new();
    let name = |n: usize| format!("sheet {n}");
    for n in 0..200 {
        harbour.checked(&name(n), Some("cup 3"), &[ROSE]);
    }
    let start = Instant::now();
    thread::scope(|scope| {
        for process in 0..8 {
            let harbour = &harbour;
            scope.spawn(move || {
                // Its own 25, and five of its neighbour's at the same time.
                for n in process * 25..process * 25 + 30 {
                    let sheet = format!("{}.sheet.json", name(n % 200));
                    harbour
                        .run(&["post", &sheet, "--add", "--skip-posted"])
                        .code(0);
                }
            });
        }
    });
    println!(
        "240 posts by 8 processes in {:.1} s",
        start.elapsed().as_secs_f64()
    );
    let stock = harbour.stock();
    let mut photos: Vec<&str> = stock
        .history
        .iter()
        .flat_map(|entry| &entry.sheets)
        .map(|sheet| sheet.file.as_str())
        .collect();
    photos.sort_unstable();
    let mut wanted: Vec<String> = (0..200).map(|n| format!("{}.jpg", name(n))).collect();
    wanted.sort_unstable();
    assert_eq!(photos, wanted);
    assert_eq!(stock.history.len(), 200);
    assert_eq!(harbour.checked_rows(), ["cup 3: plate 2x4 rose 1400"]);
}
