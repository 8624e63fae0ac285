//! Counts, one after the other, each as a process of its own.

use std::collections::{BTreeMap, VecDeque};
use std::ffi::OsString;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};

use serde::Serialize;

use super::program::{Program, Running};

/// How a count of a photo stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Stand {
    /// Others come before it.
    Waiting,
    /// It is under way.
    Counting {
        /// What is done now.
        stage: String,
    },
    /// It failed.
    Failed {
        /// Why.
        said: Vec<String>,
    },
    /// It was ended by the user.
    Ended,
    /// Its sheet is there.
    Done {
        /// What was said beside it.
        said: Vec<String>,
    },
}

/// A count that was asked for.
#[derive(Clone, Debug)]
pub struct Count {
    /// Its photos' names.
    pub photos: Vec<String>,
    /// The command.
    pub words: Vec<OsString>,
}

struct AtWork {
    photos: Vec<String>,
    running: Option<Running>,
    stage: String,
    ended: bool,
}

#[derive(Default)]
struct Queue {
    waiting: VecDeque<Count>,
    at_work: Option<AtWork>,
    /// How the last count of each photo ended.
    ended: BTreeMap<String, Stand>,
    closed: bool,
}

#[derive(Default)]
struct Shared {
    queue: Mutex<Queue>,
    more: Condvar,
}

impl Shared {
    fn queue(&self) -> MutexGuard<'_, Queue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The counts that were asked for.
pub struct Counts {
    shared: Arc<Shared>,
    worker: Option<JoinHandle<()>>,
}

impl Counts {
    /// None yet, by this program.
    pub fn by(program: Program) -> Self {
        let shared = Arc::new(Shared::default());
        let worker = {
            let shared = Arc::clone(&shared);
            thread::spawn(move || work(&shared, &program))
        };
        Self {
            shared,
            worker: Some(worker),
        }
    }

    /// Asks for counts; gives the photos that are being counted already, which are left out.
    pub fn ask(&self, counts: Vec<Count>) -> Vec<String> {
        let mut queue = self.shared.queue();
        let mut left_out = Vec::new();
        for count in counts {
            let busy = |photo: &&String| {
                let is_one = |photos: &[String]| photos.contains(photo);
                queue.waiting.iter().any(|other| is_one(&other.photos))
                    || (queue.at_work.as_ref()).is_some_and(|at| is_one(&at.photos))
            };
            if let Some(busy) = count.photos.iter().find(busy) {
                left_out.push(busy.clone());
                continue;
            }
            for photo in &count.photos {
                queue.ended.remove(photo);
            }
            queue.waiting.push_back(count);
        }
        self.shared.more.notify_one();
        left_out
    }

    /// Ends the count of a photo, and of those that are counted together with it; whether there was one.
    pub fn end(&self, photo: &str) -> bool {
        let mut queue = self.shared.queue();
        let is_its = |photos: &[String]| photos.iter().any(|one| one == photo);
        if let Some(at) = queue.waiting.iter().position(|count| is_its(&count.photos)) {
            for photo in queue.waiting.remove(at).into_iter().flat_map(|c| c.photos) {
                queue.ended.insert(photo, Stand::Ended);
            }
            return true;
        }
        let at_work = queue.at_work.as_mut().filter(|at| is_its(&at.photos));
        at_work.is_some_and(|at| {
            at.ended = true;
            if let Some(running) = &at.running {
                running.end();
            }
            true
        })
    }

    /// Forgets how the last count of a photo ended.
    pub fn forget(&self, photo: &str) {
        self.shared.queue().ended.remove(photo);
    }

    /// How the count of each photo stands of which one was asked for.
    pub fn stands(&self) -> BTreeMap<String, Stand> {
        let queue = self.shared.queue();
        let mut stands = queue.ended.clone();
        for photo in queue.waiting.iter().flat_map(|count| &count.photos) {
            stands.insert(photo.clone(), Stand::Waiting);
        }
        if let Some(at) = &queue.at_work {
            let stand = Stand::Counting {
                stage: at.stage.clone(),
            };
            stands.extend(at.photos.iter().map(|photo| (photo.clone(), stand.clone())));
        }
        stands
    }
}

impl Drop for Counts {
    /// Ends what is under way: its photo is as it was before.
    fn drop(&mut self) {
        {
            let mut queue = self.shared.queue();
            queue.closed = true;
            queue.waiting.clear();
            if let Some(running) = queue.at_work.as_ref().and_then(|at| at.running.as_ref()) {
                running.end();
            }
        }
        self.shared.more.notify_all();
        if let Some(worker) = self.worker.take() {
            // A worker that failed has nothing left to end.
            let _ = worker.join();
        }
    }
}

fn work(shared: &Shared, program: &Program) {
    loop {
        let mut queue = shared.queue();
        while queue.waiting.is_empty() && !queue.closed {
            queue = (shared.more.wait(queue)).unwrap_or_else(PoisonError::into_inner);
        }
        let Some(count) = queue.waiting.pop_front().filter(|_| !queue.closed) else {
            return;
        };
        queue.at_work = Some(AtWork {
            photos: count.photos.clone(),
            running: None,
            stage: String::new(),
            ended: false,
        });
        drop(queue);
        let begun = |running: Running| {
            if let Some(at) = &mut shared.queue().at_work {
                // Ended between being taken up and being started.
                if at.ended {
                    running.end();
                }
                at.running = Some(running);
            }
        };
        let stage = |stage: &str| {
            if let Some(at) = &mut shared.queue().at_work {
                at.stage = stage.to_owned();
            }
        };
        let answer = program.watch(&count.words, begun, stage);
        let mut queue = shared.queue();
        let was_ended = queue.at_work.take().is_some_and(|at| at.ended);
        let stand = match answer {
            Ok(answer) if answer.is_done() => Stand::Done { said: answer.said },
            _ if was_ended => Stand::Ended,
            Ok(answer) if answer.said.is_empty() => Stand::Failed {
                said: vec!["the count ended without a word; count the photo again".to_owned()],
            },
            Ok(answer) => Stand::Failed { said: answer.said },
            Err(cause) => Stand::Failed {
                said: vec![format!("the count could not be started: {cause}")],
            },
        };
        for photo in count.photos {
            queue.ended.insert(photo, stand.clone());
        }
    }
}
