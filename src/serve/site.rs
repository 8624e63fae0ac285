//! One server: it listens, lets in whoever may ask, and ends.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, HeaderName, HeaderValue, LOCATION, SET_COOKIE};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use tokio::runtime::Runtime;
use tokio::sync::Notify;
use tokio::task::JoinHandle;

use super::answers::{HTML, JS, JSON, closing, typed};
use super::connections::{self, Working};
use super::guard::{Admitted, Denied, Guard};
use super::phones::{Entry, Phones};

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
    /// The door for phones.
    #[error(
        "cannot listen for phones on {address}: {cause}; name an address of this computer in your home network after --phone="
    )]
    Door {
        /// The address that was wanted.
        address: Ipv4Addr,
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
    site: Arc<Site>,
    runtime: Runtime,
    interrupted: JoinHandle<()>,
    door: Option<(TcpListener, Arc<Phones>)>,
}

/// The number of the paired device that a question comes from; none where it comes from this computer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FromDevice(pub u32);

/// Who may ask a server, and that it shall end.
#[derive(Debug)]
pub struct Site {
    guard: Guard,
    end: Notify,
}

impl Site {
    /// Ends the server once the answers under way are given.
    pub fn end(&self) {
        // Kept until the server listens for it, so none is lost.
        self.end.notify_one();
    }
}

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
        site: Arc::new(Site {
            guard: Guard::new(port)?,
            end: Notify::new(),
        }),
        runtime,
        interrupted,
        door: None,
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
        self.site.guard.address()
    }

    /// An address that opens the page once, for a browser that is started: its arguments can be read
    /// by every user of this computer, the page's address not.
    pub fn address_for_once(&self) -> String {
        self.site.guard.address_for_once()
    }

    /// What ends the server.
    pub fn site(&self) -> Arc<Site> {
        Arc::clone(&self.site)
    }

    /// Opens a door for phones at an address of the home network, at any port that is free.
    ///
    /// # Errors
    /// When that address is none of this computer's, or the system has no random numbers.
    pub fn open_door(&mut self, address: Ipv4Addr) -> Result<Arc<Phones>, ServeError> {
        let fault = |cause| ServeError::Door { address, cause };
        let listener = TcpListener::bind(SocketAddr::from((address, 0))).map_err(fault)?;
        listener.set_nonblocking(true).map_err(fault)?;
        let port = listener.local_addr().map_err(fault)?.port();
        let phones = Arc::new(Phones::at(address.into(), port)?);
        self.door = Some((listener, Arc::clone(&phones)));
        Ok(phones)
    }

    /// Answers by these routes, whose paths begin with `/{token}/`, until the site is ended or Ctrl+C is pressed.
    ///
    /// # Errors
    /// When the system ends it.
    pub fn serve(self, routes: Router) -> Result<(), ServeError> {
        let routes = routes.fallback(|| async { StatusCode::NOT_FOUND });
        let at_home = (routes.clone()).layer(from_fn_with_state(Arc::clone(&self.site), admit));
        self.runtime.block_on(async {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            let site = self.site;
            let interrupted = self.interrupted;
            let (ended, end_of_door) = tokio::sync::oneshot::channel::<()>();
            let door = match self.door {
                Some((door, phones)) => {
                    let door = tokio::net::TcpListener::from_std(door)?;
                    let routes = routes.layer(from_fn_with_state(phones, admit_phone));
                    let end = async move {
                        let _ = end_of_door.await;
                    };
                    Some(tokio::spawn(connections::serve(
                        door, routes, end, FAREWELL,
                    )))
                }
                None => None,
            };
            let end = async move {
                tokio::select! {
                    () = site.end.notified() => {}
                    _ = interrupted => {}
                }
                // The door closes at the same time.
                drop(ended);
            };
            connections::serve(listener, at_home, end, FAREWELL).await;
            if let Some(door) = door {
                let _ = door.await;
            }
            Ok::<_, io::Error>(())
        })?;
        Ok(())
    }
}

/// Routes whose questions come in whole, within a time, and are not too large.
pub fn whole_questions<S: Clone + Send + Sync + 'static>(routes: Router<S>) -> Router<S> {
    routes.layer(from_fn(async |request: Request, next: Next| {
        match whole(request).await {
            Ok(request) => next.run(request).await,
            Err(status) => closing(status.into_response()),
        }
    }))
}

/// Lets in only the page itself, and dresses every answer.
async fn admit(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    let admitted = site
        .guard
        .admit(request.method(), request.uri().path(), request.headers());
    let mut response = match admitted {
        Ok(Admitted::Page) => next.run(request).await,
        Ok(Admitted::Once { page, cookie }) => moved(&page, &cookie),
        // Whatever else it sends is not waited for.
        Err(denied) => closing(denied_answer(denied)),
    };
    dress(&mut response);
    response
}

/// The page on which a phone pairs.
const PAIRING: &str = include_str!("pairing.html");
/// Its script.
const PAIRING_SCRIPT: &str = include_str!("pairing.js");

/// Lets in only paired devices. Whatever else is on the network gets no word.
async fn admit_phone(
    State(phones): State<Arc<Phones>>,
    mut request: Request,
    next: Next,
) -> Response {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let entry = phones.admit(&method, &path, request.headers(), Instant::now());
    let mut response = match entry {
        Ok(Entry::Device(number)) => {
            request.extensions_mut().insert(FromDevice(number));
            next.run(request).await
        }
        Ok(Entry::Pairing) => typed(HTML, PAIRING),
        Ok(Entry::PairingScript) => typed(JS, PAIRING_SCRIPT),
        Ok(Entry::Paired { page, cookie }) => {
            let told = serde_json::json!({ "page": page }).to_string();
            let mut response = typed(JSON, told);
            if let Ok(cookie) = HeaderValue::from_str(&cookie) {
                response.headers_mut().insert(SET_COOKIE, cookie);
            }
            response
        }
        Err(_) => closing(StatusCode::NOT_FOUND.into_response()),
    };
    dress(&mut response);
    response
}

fn dress(response: &mut Response) {
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

/// Gives the cookie and leads to the page.
fn moved(page: &str, cookie: &str) -> Response {
    let headers = [(LOCATION, page), (SET_COOKIE, cookie)];
    (StatusCode::SEE_OTHER, headers).into_response()
}

fn denied_answer(denied: Denied) -> Response {
    (denied.status(), format!("{denied}\n")).into_response()
}
