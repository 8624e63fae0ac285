//! The desk's page, and its questions on their way to their answers.

use std::future::poll_fn;
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use axum::extract::{Path, Request, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use hyper::body::Body as _;
use tokio::time::timeout;

use super::api::{Desk, NoAnswer, Told};
use super::arrivals::NotArrived;
use super::pictures::LONG_SIDES;
use super::plans;
use crate::review::routes as review_routes;
use crate::serve::answers::{
    CSS, HTML, JPEG, JS, JSON, PageFile, SVG, closing, kept, page_file, typed,
};
use crate::serve::connections::PATIENCE;
use crate::serve::site::{FromDevice, whole_questions};

const PAGE: [PageFile; 16] = [
    ("icon.svg", SVG, include_str!("../review/page/icon.svg")),
    ("style.css", CSS, include_str!("../review/page/style.css")),
    ("dom.js", JS, include_str!("../review/page/dom.js")),
    ("ask.js", JS, include_str!("../review/page/ask.js")),
    ("desk.css", CSS, include_str!("page/desk.css")),
    ("print.css", CSS, include_str!("page/print.css")),
    ("desk.js", JS, include_str!("page/desk.js")),
    ("begin.js", JS, include_str!("page/begin.js")),
    ("photos.js", JS, include_str!("page/photos.js")),
    ("stock.js", JS, include_str!("page/stock.js")),
    ("plans.js", JS, include_str!("page/plans.js")),
    ("colours.js", JS, include_str!("page/colours.js")),
    ("plain.js", JS, include_str!("page/plain.js")),
    ("phones.js", JS, include_str!("page/phones.js")),
    ("forms.js", JS, include_str!("page/forms.js")),
    ("csv.js", JS, include_str!("page/csv.js")),
];
const INDEX: &str = include_str!("page/index.html");
const PDF: &str = "application/pdf";

/// A photo that takes longer to come is not waited for: 50 MB by a slow home network take two minutes.
const ALL_PATIENCE: Duration = Duration::from_secs(600);

type Shared = State<Arc<Desk>>;

/// All routes: the desk's, and below them those of the review.
pub fn routes(desk: Arc<Desk>) -> Router {
    let review = review_routes::routes("/{token}/review", desk.reviewing());
    let asked = Router::new()
        .route("/{token}/", get(async || typed(HTML, INDEX)))
        .route("/{token}/page/{file}", get(page))
        .route("/{token}/card/{paper}", get(card))
        .route("/{token}/shapes.svg", get(shapes))
        .route("/{token}/photo/{name}/{long_side}", get(picture))
        .route("/{token}/marked/{sheet}", get(marked))
        .route("/{token}/api/state/{known}", get(how_it_stands))
        .route("/{token}/api/plan/{name}", get(plan).post(keep_plan))
        .route("/{token}/api/phones", get(phones))
        .route("/{token}/api/end", post(end))
        .route("/{token}/api/{what}", post(write));
    let photos = Router::new().route("/{token}/photo-in/{name}", post(photo_in));
    whole_questions(asked)
        .merge(photos)
        .with_state(desk)
        .merge(review)
}

/// Works beside the sockets, since files and commands take their time.
async fn answer(
    desk: Arc<Desk>,
    kind: &'static str,
    work: impl FnOnce(&Desk) -> Told + Send + 'static,
) -> Response {
    match tokio::task::spawn_blocking(move || work(&desk)).await {
        Ok(Ok(bytes)) => typed(kind, bytes),
        Ok(Err(error)) => refused(&error),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

fn refused(error: &NoAnswer) -> Response {
    let status = match error {
        NoAnswer::Question(_) => StatusCode::BAD_REQUEST,
        NoAnswer::Plan(plans::PlanError::Stale(_)) => StatusCode::CONFLICT,
        NoAnswer::NoPhoto(_) | NoAnswer::NoFile(_) => StatusCode::NOT_FOUND,
        _ => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let told = serde_json::json!({ "error": error.to_string() });
    (status, typed(JSON, told.to_string())).into_response()
}

async fn page(Path((_, file)): Path<(String, String)>) -> Response {
    page_file(&PAGE, &file)
}

async fn card(State(desk): Shared, Path((_, paper)): Path<(String, String)>) -> Response {
    let paper = match paper.as_str() {
        "a4.pdf" => "a4",
        "letter.pdf" => "letter",
        _ => return StatusCode::NOT_FOUND.into_response(),
    };
    answer(desk, PDF, move |desk| desk.card(paper)).await
}

async fn shapes(State(desk): Shared) -> Response {
    answer(desk, SVG, Desk::shapes).await
}

async fn picture(
    State(desk): Shared,
    Path((_, name, long_side)): Path<(String, String, u32)>,
) -> Response {
    if !LONG_SIDES.contains(&long_side) {
        return StatusCode::NOT_FOUND.into_response();
    }
    kept(answer(desk, JPEG, move |desk| desk.picture(&name, long_side)).await)
}

async fn marked(State(desk): Shared, Path((_, sheet)): Path<(String, String)>) -> Response {
    answer(desk, JPEG, move |desk| desk.marked(&sheet)).await
}

type From = Option<Extension<FromDevice>>;

async fn how_it_stands(
    State(desk): Shared,
    from: From,
    Path((_, known)): Path<(String, String)>,
) -> Response {
    let from_afar = from.is_some();
    answer(desk, JSON, move |desk| desk.state(&known, from_afar)).await
}

/// What only this computer's own browser may ask.
fn not_from_afar() -> Response {
    StatusCode::FORBIDDEN.into_response()
}

async fn phones(State(desk): Shared, from: From) -> Response {
    match from {
        Some(_) => not_from_afar(),
        None => answer(desk, JSON, Desk::phones).await,
    }
}

async fn plan(State(desk): Shared, Path((_, name)): Path<(String, String)>) -> Response {
    answer(desk, JSON, move |desk| desk.plan(&name)).await
}

async fn keep_plan(
    State(desk): Shared,
    Path((_, name)): Path<(String, String)>,
    body: Bytes,
) -> Response {
    answer(desk, JSON, move |desk| desk.keep_plan(&name, &body)).await
}

async fn end(State(desk): Shared, from: From) -> Response {
    if from.is_some() {
        return not_from_afar();
    }
    desk.end();
    typed(JSON, "{}")
}

async fn write(
    State(desk): Shared,
    from: From,
    Path((_, what)): Path<(String, String)>,
    body: Bytes,
) -> Response {
    if from.is_some() && ["new-code", "send-away"].contains(&what.as_str()) {
        return not_from_afar();
    }
    let work: fn(&Desk, &[u8]) -> Told = match what.as_str() {
        "announce" => Desk::announce,
        "count" => Desk::count,
        "end-count" => Desk::end_count,
        "remove" => Desk::remove,
        "ask" => Desk::ask,
        "look" => Desk::look,
        "review" => Desk::review,
        "samples" => |desk, _| desk.samples(),
        "new-code" => |desk, _| desk.new_code(),
        "send-away" => Desk::send_away,
        _ => return StatusCode::NOT_FOUND.into_response(),
    };
    answer(desk, JSON, move |desk| work(desk, &body)).await
}

/// Takes a photo as it comes, a part at a time: it is never in the memory as a whole.
async fn photo_in(
    State(desk): Shared,
    Path((_, name)): Path<(String, String)>,
    request: Request,
) -> Response {
    match timeout(ALL_PATIENCE, arrive(desk, &name, request)).await {
        Ok(Ok(())) => typed(JSON, "{}"),
        Ok(Err(Some(error))) => closing(refused(&error)),
        // It broke off, or took too long.
        Ok(Err(None)) | Err(_) => closing(StatusCode::REQUEST_TIMEOUT.into_response()),
    }
}

async fn arrive(desk: Arc<Desk>, name: &str, request: Request) -> Result<(), Option<NoAnswer>> {
    let fault = |error: NotArrived| Some(NoAnswer::from(error));
    let mut arriving = desk.begin(name).map_err(Some)?;
    let mut body = pin!(request.into_body());
    loop {
        let frame = timeout(PATIENCE, poll_fn(|cx| body.as_mut().poll_frame(cx))).await;
        match frame {
            Ok(None) => break,
            Ok(Some(Ok(frame))) => {
                if let Ok(bytes) = frame.into_data() {
                    arriving.write(&bytes).map_err(fault)?;
                }
            }
            Ok(Some(Err(_))) | Err(_) => return Err(None),
        }
    }
    let finished = tokio::task::spawn_blocking(move || arriving.finish()).await;
    finished.map_err(|_| None)?.map_err(fault)
}
