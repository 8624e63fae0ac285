//! Answers of a page's server.

use axum::body::Body;
use axum::http::header::{CACHE_CONTROL, CONNECTION, CONTENT_TYPE, HeaderValue};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};

/// Style sheets.
pub const CSS: &str = "text/css; charset=utf-8";
/// Scripts.
pub const JS: &str = "text/javascript; charset=utf-8";
/// Drawings.
pub const SVG: &str = "image/svg+xml";
/// Pages.
pub const HTML: &str = "text/html; charset=utf-8";
/// Data.
pub const JSON: &str = "application/json";
/// Photos.
pub const JPEG: &str = "image/jpeg";

/// One file of a page: name, type, content.
pub type PageFile = (&'static str, &'static str, &'static str);

/// An answer of this type.
pub fn typed(kind: &'static str, body: impl Into<Body>) -> Response {
    (
        [(CONTENT_TYPE, HeaderValue::from_static(kind))],
        body.into(),
    )
        .into_response()
}

/// A file of a page.
pub fn page_file(files: &[PageFile], name: &str) -> Response {
    match files.iter().find(|(known, _, _)| *known == name) {
        Some((_, kind, text)) => typed(kind, *text),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

/// An answer after which the connection is closed.
pub fn closing(mut response: Response) -> Response {
    let close = HeaderValue::from_static("close");
    response.headers_mut().insert(CONNECTION, close);
    response
}

/// Pictures may stay in the browser while it is open: their address holds the token.
pub fn kept(mut response: Response) -> Response {
    if response.status() == StatusCode::OK {
        let headers: &mut HeaderMap = response.headers_mut();
        headers.insert(
            CACHE_CONTROL,
            HeaderValue::from_static("private, max-age=3600"),
        );
    }
    response
}
