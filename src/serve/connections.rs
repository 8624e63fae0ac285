//! The sockets of the page's server: how long a question may take to come in, and how many
//! connections there are at once.
//!
//! Any program of this computer can open connections and say nothing, or half a question. None of
//! them keeps the page from being answered: a question that does not come in is dropped in time, and
//! where there are too many connections the one that has waited longest without a whole question
//! makes room for the newest.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::future::Future;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::http::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use tokio::net::TcpListener;
use tokio::task::AbortHandle;
use tower_service::Service;

/// From the first byte of a question to the end of its head, and for its body once more. The page
/// is on this computer and needs milliseconds; a slow one under load, a second.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// The most connections at once. A browser opens six to one server; file descriptors, of which many
/// systems allow 256 or 1,024, must be left for sheets and photos.
pub const MOST: usize = 128;

/// Where a connection stands; put into each question's extensions.
#[derive(Clone, Debug, Default)]
pub struct Working(Arc<AtomicBool>);

impl Working {
    /// The question came in whole and is being answered: not to be cut off.
    pub fn begin(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    fn end(&self) {
        self.0.store(false, Ordering::Relaxed);
    }

    fn is_on(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// A connection that is open, or was.
struct Open {
    working: Working,
    handle: AbortHandle,
}

/// Answers until `end`, and then for as long as answers under way take, up to `farewell`.
pub async fn serve(
    listener: TcpListener,
    router: Router,
    end: impl Future<Output = ()>,
    farewell: Duration,
) {
    let graceful = GracefulShutdown::new();
    let mut open: VecDeque<Open> = VecDeque::new();
    let mut end = pin!(end);
    loop {
        let stream = tokio::select! {
            () = &mut end => break,
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => stream,
                // Out of file descriptors, or gone before it was taken: the next may do.
                Err(_) => {
                    tokio::time::sleep(Duration::from_millis(20)).await;
                    continue;
                }
            },
        };
        make_room(&mut open);
        if open.len() >= MOST {
            // All are being answered; whoever asks again finds room.
            continue;
        }
        let working = Working::default();
        let service = {
            let (router, working) = (router.clone(), working.clone());
            service_fn(move |mut request: Request<Incoming>| {
                let (mut router, working) = (router.clone(), working.clone());
                async move {
                    request.extensions_mut().insert(working.clone());
                    let answer = router.call(request.map(Body::new)).await;
                    working.end();
                    Ok::<_, Infallible>(answer.unwrap_or_else(|never| match never {}))
                }
            })
        };
        let mut http = http1::Builder::new();
        http.timer(TokioTimer::new()).header_read_timeout(PATIENCE);
        let connection = graceful.watch(http.serve_connection(TokioIo::new(stream), service));
        let handle = tokio::spawn(async move {
            // What went wrong on a connection was told on it, as far as it could be.
            let _ = connection.await;
        })
        .abort_handle();
        open.push_back(Open { working, handle });
    }
    drop(listener);
    tokio::select! {
        () = graceful.shutdown() => {}
        () = tokio::time::sleep(farewell) => {}
    }
}

/// Forgets what has ended, and cuts off the oldest connection without a whole question where there
/// are too many.
fn make_room(open: &mut VecDeque<Open>) {
    if open.len() < MOST {
        return;
    }
    open.retain(|one| !one.handle.is_finished());
    if open.len() < MOST {
        return;
    }
    let oldest = open.iter().position(|one| !one.working.is_on());
    if let Some(oldest) = oldest.and_then(|at| open.remove(at)) {
        oldest.handle.abort();
    }
}
