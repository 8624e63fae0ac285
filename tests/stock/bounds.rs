//! Files that are no files, and files beyond all measure: refused with one sentence, by a program
//! that neither waits nor grows.
#![cfg(unix)]

use crate::harbour::{Ended, Harbour, PROGRAM};
use serde_json::{Value, json};
use std::fs;
use std::os::unix::fs::symlink;
use std::process::{Command, Stdio};
use std::time::Duration;
use wait4::Wait4;

/// Far longer than any of these takes; only a program that waits for ever comes here.
const PATIENCE: Duration = Duration::from_secs(120);

/// More memory than refusing a file takes, less than an endless one fills.
const MOST_MEMORY: u64 = 300 * 1024 * 1024;

/// Runs the program; one that would wait for ever is ended, and the test fails.
fn run(harbour: &Harbour, args: &[&str]) -> Ended {
    let mut child = Command::new(PROGRAM)
        .current_dir(harbour.path(""))
        .env("CUPTALLY_HOME", harbour.home())
        .args(args)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let id = child.id().to_string();
    let (done, waits) = std::sync::mpsc::channel::<()>();
    let guard = std::thread::spawn(move || {
        if waits.recv_timeout(PATIENCE) == Err(std::sync::mpsc::RecvTimeoutError::Timeout) {
            Command::new("kill").args(["-9", &id]).status().unwrap();
        }
    });
    let (mut out, mut err) = (child.stdout.take().unwrap(), child.stderr.take().unwrap());
    let read = |from: &mut dyn std::io::Read| {
        let mut text = String::new();
        from.read_to_string(&mut text).unwrap();
        text
    };
    let (out, err) = (read(&mut out), read(&mut err));
    let ended = child.wait4().unwrap();
    drop(done);
    guard.join().unwrap();
    assert!(
        ended.rusage.maxrss < MOST_MEMORY,
        "{args:?} took {} bytes",
        ended.rusage.maxrss
    );
    Ended {
        code: ended.status.code().expect("ended by a signal"),
        out,
        err,
    }
}

/// A plan, offers and a stock that are good, so that only the file in question is at fault.
fn harbour() -> Harbour {
    let harbour = Harbour::new();
    fs::write(
        harbour.path("good.csv"),
        "place,form,size,colour,count,low,high,status\ncup 1,plate,2x4,tar,4,4,4,checked\n",
    )
    .unwrap();
    fs::write(
        harbour.path("good.plan.json"),
        json!({"plan":"v1","modules":[{"module":"quay","wanted":9,"lines":[
            {"form":"plate","size":"2x4","count":4,"colours":["tar"]}]}]})
        .to_string(),
    )
    .unwrap();
    harbour.run(&["stock", "import", "good.csv"]).code(0);
    harbour
}

#[test]
fn pipes_and_endless_devices_are_no_files() {
    let harbour = harbour();
    let pipe = harbour.path("pipe");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .unwrap()
            .success()
    );
    symlink("/dev/zero", harbour.path("endless")).unwrap();
    let before = harbour.stock();
    for odd in ["pipe", "endless"] {
        let calls: [&[&str]; 8] = [
            &["stock", "import", odd, "--add"],
            &["stock", "merge", odd],
            &["post", odd, "--place", "cup 1"],
            &["review", odd, "--no-open"],
            &["cover", odd],
            &["cover", "good.plan.json", "--offers", odd],
            &["cover", "good.plan.json", "--keep", odd],
            &["plan", "check", odd],
        ];
        for args in calls {
            let ended = run(&harbour, args);
            assert_eq!(ended.code, 1, "{args:?}: {ended:?}");
            assert_eq!(ended.err.lines().count(), 1, "{args:?}: {ended:?}");
            let told =
                ended.err.contains("pipe or a device") || ended.err.contains("no ordinary file");
            assert!(told && ended.err.contains(odd), "{args:?}: {ended:?}");
        }
    }
    assert_eq!(harbour.stock(), before);
}

fn offers(list: Vec<Value>, cups: Vec<Value>) -> String {
    json!({ "offers": "v1", "pieces": list, "cups": cups }).to_string()
}

#[test]
fn equal_offers_are_one() {
    let harbour = harbour();
    let cup = json!({"form":"plate","size":"2x4","colour":"tar","price":1.5,"holds":10,"most":1});
    let piece = json!({"form":"plate","size":"2x4","colour":"tar","price":0.2,"most":3});
    let buy = |copies: usize| {
        let text = offers(vec![piece.clone(); copies], vec![cup.clone(); copies]);
        fs::write(harbour.path("o.json"), text).unwrap();
        let args = ["cover", "good.plan.json", "--json", "--offers", "o.json"];
        run(&harbour, &args).json()
    };
    // 32 are missing: three cups 4.50 and two pieces 0.40.
    let three = buy(3);
    assert!((three["advice"]["cost"].as_f64().unwrap() - 4.9).abs() < 1e-9);
    assert_eq!(three["advice"]["buy"].as_array().unwrap().len(), 2);
    // A thousand of each are no other list, and as many answers are no more to find.
    let many = buy(1000);
    assert_eq!(many["advice"]["buy"], three["advice"]["buy"]);
    assert_eq!(many["likely"]["proven"], true);
}

#[test]
fn what_nobody_could_wait_for_is_refused() {
    let harbour = harbour();
    let refused = |name: &str, text: &str, args: &[&str], says: &str| {
        fs::write(harbour.path(name), text).unwrap();
        run(&harbour, args).code(1).says(says).says(name);
    };
    let dear = |at: usize, holds: usize| json!({"form":"plate","size":"2x4","colour":"tar","price":0.1 + at as f64 / 100.0,"holds":holds});
    let with = ["cover", "good.plan.json", "--offers", "o.json"];
    refused(
        "o.json",
        &offers(vec![], (0..21).map(|at| dear(at, 100 + at)).collect()),
        &with,
        "plate 2x4 tar is offered by the cup or with a minimum in 21 ways, and at most 20",
    );
    let colours = |at| json!({"form":"plate","size":"2x4","colour":format!("c{at}"),"price":0.1});
    refused(
        "o.json",
        &offers((0..2001).map(colours).collect(), vec![]),
        &with,
        "it has 2001 different offers, and at most 2000",
    );
    let mut table = "module,wanted,form,size,count,colours\n".to_owned();
    for at in 0..2001 {
        table.push_str(&format!("quay,3,plate,2x4,4,c{at}\n"));
    }
    refused(
        "long.csv",
        &table,
        &["plan", "check", "long.csv"],
        "it has more than 2000 lines; split it into several plans",
    );
    let line = |at| json!({"form":"plate","size":"2x4","count":1,"colours":[format!("c{at}")]});
    let lines: Vec<Value> = (0..2001).map(line).collect();
    let plan = json!({"plan":"v1","modules":[{"module":"quay","wanted":9,"lines":lines}]});
    refused(
        "long.json",
        &plan.to_string(),
        &["cover", "long.json"],
        "it has more than 2000 lines",
    );
    refused(
        "fat.json",
        &" ".repeat(9 * 1024 * 1024),
        &["cover", "fat.json"],
        "larger than any plan (8 MB)",
    );
}
