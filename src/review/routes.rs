//! The review page's files, and its questions on their way to their answers.

use std::sync::{Arc, PoisonError, RwLock};

use axum::Router;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};

use super::api::{ApiError, Verb, Work};
use super::photos::LONG_SIDES;
use crate::serve::answers::{CSS, HTML, JPEG, JS, JSON, PageFile, SVG, kept, page_file, typed};
use crate::serve::site::whole_questions;

/// The page's files: name, type, content.
const PAGE: [PageFile; 20] = [
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
    ("thing.js", JS, include_str!("page/thing.js")),
    ("totals.js", JS, include_str!("page/totals.js")),
    ("choose.js", JS, include_str!("page/choose.js")),
    ("dialogs.js", JS, include_str!("page/dialogs.js")),
    ("learning.js", JS, include_str!("page/learning.js")),
    ("placing.js", JS, include_str!("page/placing.js")),
    ("words.js", JS, include_str!("page/words.js")),
];
const INDEX: &str = include_str!("page/index.html");
/// A review that can be asked.
pub struct Review {
    work: RwLock<Arc<Work>>,
    /// What the page's own end leads to.
    end: Box<dyn Fn() + Send + Sync>,
}

type Shared = State<Arc<Review>>;

impl Review {
    /// Of these sheets; `end` is called when the page says that it is done.
    pub fn new(work: Work, end: impl Fn() + Send + Sync + 'static) -> Self {
        Self {
            work: RwLock::new(Arc::new(work)),
            end: Box::new(end),
        }
    }

    /// The sheets as they stand.
    pub fn work(&self) -> Arc<Work> {
        Arc::clone(&self.work.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Goes on with other sheets. What a page asks of a sheet names the state of it that it shows, so that nothing meant
    /// for one is done to another.
    pub fn go_on_with(&self, work: Work) {
        *self.work.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(work);
    }
}

/// The page's routes, each after `before`, which has one variable, the token.
pub fn routes(before: &str, review: Arc<Review>) -> Router {
    let at = |rest: &str| format!("{before}/{rest}");
    let routes = Router::new()
        .route(&at(""), get(index))
        .route(&at("page/{file}"), get(page))
        .route(&at("api/start"), get(start))
        .route(&at("api/end"), post(end))
        .route(&at("api/sheet/{index}"), get(sheet))
        .route(&at("api/sheet/{index}/version"), get(version))
        .route(&at("api/sheet/{index}/ending"), get(ending))
        .route(&at("api/sheet/{index}/cuts/{id}"), get(cuts))
        .route(&at("api/sheet/{index}/{verb}"), post(write))
        .route(&at("photo/{index}/{number}/{long_side}"), get(photo))
        .route(
            &at("crop/{index}/{number}/{left}/{top}/{width}/{height}"),
            get(crop),
        )
        .route(&at("upright/{index}/{id}/{look}"), get(upright));
    whole_questions(routes).with_state(review)
}

/// Works beside the sockets, since files and pictures take their time.
async fn answer(
    review: Arc<Review>,
    kind: &'static str,
    work: impl FnOnce(&Work) -> Result<Vec<u8>, ApiError> + Send + 'static,
) -> Response {
    let shared = review.work();
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
    page_file(&PAGE, &file)
}

async fn start(State(review): Shared) -> Response {
    answer(review, JSON, Work::start).await
}

async fn end(State(review): Shared) -> Response {
    (review.end)();
    typed(JSON, "{}")
}

async fn sheet(State(review): Shared, Path((_, index)): Path<(String, usize)>) -> Response {
    answer(review, JSON, move |work| work.sheet(index)).await
}

async fn version(State(review): Shared, Path((_, index)): Path<(String, usize)>) -> Response {
    answer(review, JSON, move |work| work.version(index)).await
}

async fn ending(State(review): Shared, Path((_, index)): Path<(String, usize)>) -> Response {
    answer(review, JSON, move |work| work.ending(index)).await
}

async fn cuts(State(review): Shared, Path((_, index, id)): Path<(String, usize, u32)>) -> Response {
    answer(review, JSON, move |work| work.cuts(index, id)).await
}

async fn write(
    State(review): Shared,
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
        "thing" => work.thing(index, &body),
        _ => Err(ApiError::Question("to do something else".to_owned())),
    };
    answer(review, JSON, work).await
}

async fn photo(
    State(review): Shared,
    Path((_, index, number, long_side)): Path<(String, usize, u32, u32)>,
) -> Response {
    if !LONG_SIDES.contains(&long_side) {
        return StatusCode::NOT_FOUND.into_response();
    }
    kept(
        answer(review, JPEG, move |work| {
            work.photo((index, number), long_side)
        })
        .await,
    )
}

/// Token, sheet, photo; left, top, width, height.
type Crop = (String, usize, u32, u32, u32, u32, u32);

async fn crop(
    State(review): Shared,
    Path((_, index, number, left, top, width, height)): Path<Crop>,
) -> Response {
    let area = [left, top, width, height];
    kept(answer(review, JPEG, move |work| work.crop((index, number), area)).await)
}

async fn upright(
    State(review): Shared,
    Path((_, index, id, look)): Path<(String, usize, u32, String)>,
) -> Response {
    kept(answer(review, JPEG, move |work| work.upright(index, id, &look)).await)
}
