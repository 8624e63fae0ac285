//! The server: loopback only, one page, its questions.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{Path, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONNECTION, CONTENT_TYPE, HeaderName, HeaderValue, LOCATION, SET_COOKIE,
};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use tokio::runtime::Runtime;
use tokio::sync::Notify;
use tokio::task::JoinHandle;

use super::api::{ApiError, Verb, Work};
use super::connections::{self, Working};
use super::guard::{Admitted, Denied, Guard};
use super::photos::LONG_SIDES;

/// The page's files: name, type, content.
const PAGE: [(&str, &str, &str); 19] = [
    ("icon.svg", SVG, include_str!("page/icon.svg")),
    ("style.css", CSS, include_str!("page/style.css")),
    ("side.css", CSS, include_str!("page/side.css")),
    ("main.js", JS, include_str!("page/main.js")),
    ("actions.js", JS, include_str!("page/actions.js")),
    ("keys.js", JS, include_str!("page/keys.js")),
    ("ask.js", JS, include_str!("page/ask.js")),
    ("dom.js", JS, include_str!("page/dom.js")),
    ("draw.js", JS, include_str!("page/draw.js")),
    ("stage.js", JS, include_str!("page/stage.js")),
    ("card.js", JS, include_str!("page/card.js")),
    ("side.js", JS, include_str!("page/side.js")),
    ("shelves.js", JS, include_str!("page/shelves.js")),
    ("totals.js", JS, include_str!("page/totals.js")),
    ("choose.js", JS, include_str!("page/choose.js")),
    ("dialogs.js", JS, include_str!("page/dialogs.js")),
    ("learning.js", JS, include_str!("page/learning.js")),
    ("placing.js", JS, include_str!("page/placing.js")),
    ("words.js", JS, include_str!("page/words.js")),
];
const INDEX: &str = include_str!("page/index.html");
const CSS: &str = "text/css; charset=utf-8";
const JS: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";
const HTML: &str = "text/html; charset=utf-8";
const JSON: &str = "application/json";
const JPEG: &str = "image/jpeg";

/// Sent with every answer. The page loads nothing from anywhere else, cannot be
/// framed, and tells nobody its address.
const HEADERS: [(&str, &str); 7] = [
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    (
        "permissions-policy",
        "camera=(), microphone=(), geolocation=()",
    ),
];

/// The largest question: a correction names at most every piece of a sheet.
const MOST_BYTES: usize = 256 * 1024;
/// After the end was asked for, answers under way get this long.
const FAREWELL: Duration = Duration::from_secs(2);

/// Why the server cannot run.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The port.
    #[error(
        "cannot listen on 127.0.0.1 port {port}: {cause}; name another with --port, or leave it out"
    )]
    Listen {
        /// The port that was wanted; 0 for any.
        port: u16,
        /// Why.
        cause: io::Error,
    },
    /// Random numbers.
    #[error(
        "the system gives no random numbers for the page's address ({0}); restart the computer"
    )]
    Chance(#[from] getrandom::Error),
    /// While running.
    #[error("the server stopped: {0}; everything kept so far is in the sheets, so start it again")]
    Run(#[from] io::Error),
}

/// A server that listens, also for Ctrl+C, but does not answer yet.
#[derive(Debug)]
pub struct Ready {
    listener: TcpListener,
    guard: Guard,
    runtime: Runtime,
    interrupted: JoinHandle<()>,
}

struct App {
    work: Arc<Work>,
    guard: Guard,
    end: Notify,
}

type Shared = State<Arc<App>>;

/// Takes a port of 127.0.0.1; 0 is any that is free.
///
/// # Errors
/// [`ServeError`] when there is none.
pub fn listen(port: u16) -> Result<Ready, ServeError> {
    let fault = |cause| ServeError::Listen { port, cause };
    let listener =
        TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).map_err(fault)?;
    listener.set_nonblocking(true).map_err(fault)?;
    let port = listener.local_addr().map_err(fault)?.port();
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    // Heard from now on: whoever has read the address may end the server.
    let interrupted = runtime.spawn(interrupt());
    runtime.block_on(tokio::task::yield_now());
    Ok(Ready {
        listener,
        guard: Guard::new(port)?,
        runtime,
        interrupted,
    })
}

/// Waits for Ctrl+C. Where that cannot be heard the page's own button remains.
async fn interrupt() {
    if tokio::signal::ctrl_c().await.is_err() {
        std::future::pending::<()>().await;
    }
}

impl Ready {
    /// The page's address.
    pub fn address(&self) -> String {
        self.guard.address()
    }

    /// An address that opens the page once, for a browser that is started: its arguments can be read
    /// by every user of this computer, the page's address not.
    pub fn address_for_once(&self) -> String {
        self.guard.address_for_once()
    }

    /// Answers until the page says that it is done, or Ctrl+C.
    ///
    /// # Errors
    /// When the system ends it.
    pub fn serve(self, work: Work) -> Result<Arc<Work>, ServeError> {
        let work = Arc::new(work);
        let app = Arc::new(App {
            work: Arc::clone(&work),
            guard: self.guard,
            end: Notify::new(),
        });
        self.runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            let ending = Arc::clone(&app);
            let interrupted = self.interrupted;
            let end = async move {
                tokio::select! {
                    () = ending.end.notified() => {}
                    _ = interrupted => {}
                }
            };
            connections::serve(listener, router(app), end, FAREWELL).await;
            Ok::<_, io::Error>(())
        })?;
        Ok(work)
    }
}

fn router(app: Arc<App>) -> Router {
    Router::new()
        .route("/{token}/", get(index))
        .route("/{token}/page/{file}", get(page))
        .route("/{token}/api/start", get(start))
        .route("/{token}/api/end", post(end))
        .route("/{token}/api/sheet/{index}", get(sheet))
        .route("/{token}/api/sheet/{index}/version", get(version))
        .route("/{token}/api/sheet/{index}/ending", get(ending))
        .route("/{token}/api/sheet/{index}/cuts/{id}", get(cuts))
        .route("/{token}/api/sheet/{index}/{verb}", post(write))
        .route("/{token}/photo/{index}/{number}/{long_side}", get(photo))
        .route(
            "/{token}/crop/{index}/{number}/{left}/{top}/{width}/{height}",
            get(crop),
        )
        .route("/{token}/upright/{index}/{id}/{look}", get(upright))
        .fallback(|| async { StatusCode::NOT_FOUND })
        .layer(from_fn_with_state(Arc::clone(&app), admit))
        .with_state(app)
}

/// Lets in only the page itself, and dresses every answer.
async fn admit(State(app): Shared, request: Request, next: Next) -> Response {
    let admitted = app
        .guard
        .admit(request.method(), request.uri().path(), request.headers());
    let mut response = match admitted {
        Ok(Admitted::Page) => match whole(request).await {
            Ok(request) => next.run(request).await,
            Err(status) => closing(status.into_response()),
        },
        Ok(Admitted::Once { page, cookie }) => moved(&page, &cookie),
        // Whatever else it sends is not waited for.
        Err(denied) => closing(denied_answer(denied)),
    };
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(
            HeaderName::from_static(name),
            HeaderValue::from_static(value),
        );
    }
    if !headers.contains_key(CACHE_CONTROL) {
        headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    response
}

/// The question with its body, which must come in within a time and not be too large.
async fn whole(request: Request) -> Result<Request, StatusCode> {
    let (head, body) = request.into_parts();
    let body = tokio::time::timeout(connections::PATIENCE, to_bytes(body, MOST_BYTES));
    let body = body
        .await
        .map_err(|_| StatusCode::REQUEST_TIMEOUT)?
        .map_err(|_| StatusCode::PAYLOAD_TOO_LARGE)?;
    if let Some(working) = head.extensions.get::<Working>() {
        working.begin();
    }
    Ok(Request::from_parts(head, Body::from(body)))
}

fn closing(mut response: Response) -> Response {
    let close = HeaderValue::from_static("close");
    response.headers_mut().insert(CONNECTION, close);
    response
}

/// Gives the cookie and leads to the page.
fn moved(page: &str, cookie: &str) -> Response {
    let headers = [(LOCATION, page), (SET_COOKIE, cookie)];
    (StatusCode::SEE_OTHER, headers).into_response()
}

fn denied_answer(denied: Denied) -> Response {
    (denied.status(), format!("{denied}\n")).into_response()
}

fn typed(kind: &'static str, body: impl Into<Body>) -> Response {
    (
        [(CONTENT_TYPE, HeaderValue::from_static(kind))],
        body.into(),
    )
        .into_response()
}

/// Works beside the sockets, since files and pictures take their time.
async fn answer(
    app: Arc<App>,
    kind: &'static str,
    work: impl FnOnce(&Work) -> Result<Vec<u8>, ApiError> + Send + 'static,
) -> Response {
    let shared = Arc::clone(&app.work);
    match tokio::task::spawn_blocking(move || work(&shared)).await {
        Ok(Ok(bytes)) => typed(kind, bytes),
        Ok(Err(error)) => {
            let status = match &error {
                error if error.is_stale() => StatusCode::CONFLICT,
                ApiError::Question(_) => StatusCode::BAD_REQUEST,
                _ => StatusCode::UNPROCESSABLE_ENTITY,
            };
            let told = serde_json::json!({ "error": error.to_string() });
            (status, typed(JSON, told.to_string())).into_response()
        }
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

async fn index() -> Response {
    typed(HTML, INDEX)
}

async fn page(Path((_, file)): Path<(String, String)>) -> Response {
    match PAGE.iter().find(|(name, _, _)| *name == file) {
        Some((_, kind, text)) => typed(kind, *text),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

async fn start(State(app): Shared) -> Response {
    answer(app, JSON, Work::start).await
}

async fn end(State(app): Shared) -> Response {
    // Kept until the server listens for it, so none is lost.
    app.end.notify_one();
    typed(JSON, "{}")
}

async fn sheet(State(app): Shared, Path((_, index)): Path<(String, usize)>) -> Response {
    answer(app, JSON, move |work| work.sheet(index)).await
}

async fn version(State(app): Shared, Path((_, index)): Path<(String, usize)>) -> Response {
    answer(app, JSON, move |work| work.version(index)).await
}

async fn ending(State(app): Shared, Path((_, index)): Path<(String, usize)>) -> Response {
    answer(app, JSON, move |work| work.ending(index)).await
}

async fn cuts(State(app): Shared, Path((_, index, id)): Path<(String, usize, u32)>) -> Response {
    answer(app, JSON, move |work| work.cuts(index, id)).await
}

async fn write(
    State(app): Shared,
    Path((_, index, verb)): Path<(String, usize, String)>,
    body: Bytes,
) -> Response {
    let work = move |work: &Work| match verb.as_str() {
        "correct" => work.write(index, Verb::Correct, &body),
        "undo" => work.write(index, Verb::Undo, &body),
        "redo" => work.write(index, Verb::Redo, &body),
        "finish" => work.finish(index, &body),
        "snap" => work.snap(index, &body),
        "outline" => work.outline(index, &body),
        _ => Err(ApiError::Question("to do something else".to_owned())),
    };
    answer(app, JSON, work).await
}

/// Pictures may stay in the browser while it is open: their address holds the token.
fn kept(mut response: Response) -> Response {
    if response.status() == StatusCode::OK {
        let headers: &mut HeaderMap = response.headers_mut();
        headers.insert(
            CACHE_CONTROL,
            HeaderValue::from_static("private, max-age=3600"),
        );
    }
    response
}

async fn photo(
    State(app): Shared,
    Path((_, index, number, long_side)): Path<(String, usize, u32, u32)>,
) -> Response {
    if !LONG_SIDES.contains(&long_side) {
        return StatusCode::NOT_FOUND.into_response();
    }
    kept(
        answer(app, JPEG, move |work| {
            work.photo((index, number), long_side)
        })
        .await,
    )
}

/// Token, sheet, photo; left, top, width, height.
type Crop = (String, usize, u32, u32, u32, u32, u32);

async fn crop(
    State(app): Shared,
    Path((_, index, number, left, top, width, height)): Path<Crop>,
) -> Response {
    let area = [left, top, width, height];
    kept(answer(app, JPEG, move |work| work.crop((index, number), area)).await)
}

async fn upright(
    State(app): Shared,
    Path((_, index, id, look)): Path<(String, usize, u32, String)>,
) -> Response {
    kept(answer(app, JPEG, move |work| work.upright(index, id, &look)).await)
}
