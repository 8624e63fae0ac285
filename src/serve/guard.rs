//! Who may ask: this page, in this user's browser, and nobody else.
//!
//! A server on loopback can be reached by every program of this computer and, through
//! the browser, by every web page. Four checks, each enough against some of that:
//!
//! | check | keeps out |
//! |---|---|
//! | the path begins with a random token | other users and programs, pages that guess |
//! | `Host` is our own address | DNS rebinding: a name that suddenly means 127.0.0.1 |
//! | `Origin`, where sent and always on writing, is our own | other sites' scripts and forms |
//! | `Sec-Fetch-Site`, where sent, is `same-origin` or `none` | other sites' pictures, links and frames |
//!
//! Writing must also say that it sends JSON or plain bytes, which no form can.
//!
//! A browser that this program starts is given another address, for every user of the computer can
//! read what programs are started with: that address holds a token that is good once, and is
//! exchanged for a cookie, which only this page's paths are sent with and no script can read.

use std::sync::{Mutex, PoisonError};

use axum::http::header::{CONTENT_TYPE, COOKIE, HOST, ORIGIN};
use axum::http::{HeaderMap, Method, StatusCode};

/// What writing says that it sends: data, or a photo as it is.
const WRITTEN: [&str; 2] = ["application/json", "application/octet-stream"];
/// Bytes of chance in a token: more than can ever be tried.
const TOKEN_BYTES: usize = 24;

/// The checks of one server.
#[derive(Debug)]
pub struct Guard {
    token: String,
    /// Good once: none after that.
    once: Mutex<Option<String>>,
    /// The path that the cookie belongs to; no secret. Cookies do not know ports, so a path that
    /// nobody guesses keeps it from the other servers of this computer.
    place: String,
    /// What the cookie holds.
    cookie: String,
    port: u16,
}

/// What a question may have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Admitted {
    /// An answer.
    Page,
    /// The cookie, and the way to the page.
    Once {
        /// The page's path.
        page: String,
        /// The cookie as it is set.
        cookie: String,
    },
}

/// Why somebody was sent away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Denied {
    /// Another name or port than ours.
    #[error("this server answers only at the address that cuptally printed")]
    Host,
    /// From another site.
    #[error("other sites may not use this page")]
    Site,
    /// Not the address that was printed.
    #[error("this is not the address that cuptally printed; it changes at each start")]
    Token,
    /// Writing in another form than the page does.
    #[error("only the page itself may write")]
    Form,
}

impl Denied {
    /// What the answer says it is.
    pub fn status(self) -> StatusCode {
        match self {
            Self::Token => StatusCode::NOT_FOUND,
            Self::Form => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::Host | Self::Site => StatusCode::FORBIDDEN,
        }
    }
}

impl Guard {
    /// Checks for a server at this port of 127.0.0.1, with a fresh token.
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub fn new(port: u16) -> Result<Self, getrandom::Error> {
        Ok(Self {
            token: chance()?,
            once: Mutex::new(Some(chance()?)),
            place: chance()?,
            cookie: chance()?,
            port,
        })
    }

    /// The page's address.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.port, self.token)
    }

    /// An address that leads to the page once; the page's own when it did.
    pub fn address_for_once(&self) -> String {
        let once = self.once.lock().unwrap_or_else(PoisonError::into_inner);
        match once.as_deref() {
            Some(once) => format!("http://127.0.0.1:{}/{once}/", self.port),
            None => self.address(),
        }
    }

    /// The cookie's name. It tells the port, as several pages may be open.
    fn cookie_name(&self) -> String {
        format!("cuptally-{}", self.port)
    }

    /// Takes the token that is good once.
    fn exchange(&self, given: &str) -> Option<Admitted> {
        let mut once = self.once.lock().unwrap_or_else(PoisonError::into_inner);
        let is_it = once.as_deref().is_some_and(|once| same(given, once));
        if !is_it {
            return None;
        }
        *once = None;
        let (name, place) = (self.cookie_name(), &self.place);
        Some(Admitted::Once {
            page: format!("/{place}/"),
            cookie: format!(
                "{name}={}; Path=/{place}/; HttpOnly; SameSite=Strict",
                self.cookie
            ),
        })
    }

    /// Whether a question to the cookie's path has the cookie.
    fn has_cookie(&self, given: &str, headers: &HeaderMap) -> bool {
        let cookie = cookie_in(headers, &self.cookie_name());
        given == self.place && cookie.is_some_and(|cookie| same(&cookie, &self.cookie))
    }

    /// Lets a question pass, or says why not.
    ///
    /// # Errors
    /// [`Denied`] when it does not come from our page.
    pub fn admit(
        &self,
        method: &Method,
        path: &str,
        headers: &HeaderMap,
    ) -> Result<Admitted, Denied> {
        let own = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", self.port));
        from_one_host(method, headers, &own)?;
        let given = path.split('/').nth(1).unwrap_or("");
        if !same(given, &self.token) && !self.has_cookie(given, headers) {
            // Only looking at exactly that address takes it.
            let alone = *method == Method::GET && path.trim_matches('/') == given;
            let once = alone.then(|| self.exchange(given)).flatten();
            return once.ok_or(Denied::Token);
        }
        is_written(method, headers)?;
        Ok(Admitted::Page)
    }
}

fn writes(method: &Method) -> bool {
    *method != Method::GET && *method != Method::HEAD
}

fn text<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    headers.get(name).map(|value| value.to_str().unwrap_or(""))
}

/// Lets a question pass that was sent to one of these hosts, by a page of that same host where a page sent it.
///
/// # Errors
/// [`Denied::Host`] and [`Denied::Site`].
pub(super) fn from_one_host(
    method: &Method,
    headers: &HeaderMap,
    own: &[String],
) -> Result<(), Denied> {
    // One host, told once: two could be read differently.
    let mut hosts = headers.get_all(HOST).iter();
    let host = hosts.next().and_then(|host| host.to_str().ok());
    let host = host
        .filter(|host| own.iter().any(|name| name == host) && hosts.next().is_none())
        .ok_or(Denied::Host)?;
    let from_here = |origin: &str| origin.strip_prefix("http://") == Some(host);
    let writes = writes(method);
    match text(headers, ORIGIN.as_str()) {
        Some(origin) if !from_here(origin) => return Err(Denied::Site),
        None if writes => return Err(Denied::Site),
        _ => {}
    }
    let site = text(headers, "sec-fetch-site").unwrap_or("same-origin");
    if !["same-origin", "none"].contains(&site) || (writes && site == "none") {
        return Err(Denied::Site);
    }
    Ok(())
}

/// Lets a question pass that writes nothing, or says that it sends what no form can.
///
/// # Errors
/// [`Denied::Form`].
pub(super) fn is_written(method: &Method, headers: &HeaderMap) -> Result<(), Denied> {
    let kind = text(headers, CONTENT_TYPE.as_str());
    if writes(method) && !kind.is_some_and(|kind| WRITTEN.contains(&kind)) {
        return Err(Denied::Form);
    }
    Ok(())
}

/// The value of a cookie of that name; of several the first.
pub(super) fn cookie_in(headers: &HeaderMap, name: &str) -> Option<String> {
    let cookies = headers.get_all(COOKIE).iter();
    let mut pairs = cookies
        .filter_map(|cookies| cookies.to_str().ok())
        .flat_map(|cookies| cookies.split(';'));
    pairs.find_map(|pair| {
        let value = pair.trim().strip_prefix(name)?.strip_prefix('=')?;
        Some(value.to_owned())
    })
}

/// So many random bytes, as hex digits.
pub(super) fn chance() -> Result<String, getrandom::Error> {
    let mut bytes = [0; TOKEN_BYTES];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Compares in a time that does not tell how much of it is right.
pub(super) fn same(given: &str, token: &str) -> bool {
    let differing = given
        .bytes()
        .zip(token.bytes())
        .fold(0, |sum, (a, b)| sum | (a ^ b));
    given.len() == token.len() && differing == 0
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;
    use axum::http::HeaderName;

    const PORT: u16 = 40123;

    fn ask(
        guard: &Guard,
        method: Method,
        token: &str,
        pairs: &[(&str, &str)],
    ) -> Result<Admitted, Denied> {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            let name: HeaderName = name.parse().unwrap();
            headers.append(name, value.parse().unwrap());
        }
        guard.admit(&method, &format!("/{token}/api/desk"), &headers)
    }

    const HOST: (&str, &str) = ("host", "127.0.0.1:40123");
    const ORIGIN: (&str, &str) = ("origin", "http://127.0.0.1:40123");
    const JSON: (&str, &str) = ("content-type", "application/json");

    #[test]
    fn the_page_itself_passes() {
        let guard = Guard::new(PORT).unwrap();
        let token = guard.token.clone();
        assert_eq!(guard.address(), format!("http://127.0.0.1:40123/{token}/"));
        for pairs in [
            &[HOST][..],
            &[("host", "localhost:40123"), ("sec-fetch-site", "none")],
            &[HOST, ORIGIN, ("sec-fetch-site", "same-origin")],
        ] {
            assert_eq!(
                ask(&guard, Method::GET, &token, pairs),
                Ok(Admitted::Page),
                "{pairs:?}"
            );
        }
        assert_eq!(
            ask(&guard, Method::POST, &token, &[HOST, ORIGIN, JSON]),
            Ok(Admitted::Page)
        );
    }

    #[test]
    fn everybody_else_is_sent_away() {
        let guard = Guard::new(PORT).unwrap();
        let token = guard.token.clone();
        let get = |pairs: &[(&str, &str)]| ask(&guard, Method::GET, &token, pairs);
        for host in [
            "quay.example:40123",
            "127.0.0.1:40124",
            "127.0.0.1",
            "localhost.quay.example:40123",
            "127.0.0.1:40123.quay.example",
            "",
        ] {
            assert_eq!(get(&[("host", host)]), Err(Denied::Host), "{host}");
        }
        assert_eq!(get(&[]), Err(Denied::Host));
        assert_eq!(get(&[HOST, ("host", "quay.example")]), Err(Denied::Host));
        for origin in [
            "http://quay.example",
            "null",
            "https://127.0.0.1:40123",
            "http://127.0.0.1:40124",
        ] {
            assert_eq!(
                get(&[HOST, ("origin", origin)]),
                Err(Denied::Site),
                "{origin}"
            );
        }
        // The same page under its other name is another origin.
        assert_eq!(
            get(&[HOST, ("origin", "http://localhost:40123")]),
            Err(Denied::Site)
        );
        for site in ["cross-site", "same-site", ""] {
            assert_eq!(
                get(&[HOST, ("sec-fetch-site", site)]),
                Err(Denied::Site),
                "{site}"
            );
        }
    }

    #[test]
    fn writing_needs_more() {
        let guard = Guard::new(PORT).unwrap();
        let token = guard.token.clone();
        let post = |pairs: &[(&str, &str)]| ask(&guard, Method::POST, &token, pairs);
        assert_eq!(post(&[HOST, JSON]), Err(Denied::Site));
        assert_eq!(
            post(&[HOST, JSON, ORIGIN, ("sec-fetch-site", "none")]),
            Err(Denied::Site)
        );
        for form in [
            "text/plain",
            "application/x-www-form-urlencoded",
            "multipart/form-data",
        ] {
            assert_eq!(
                post(&[HOST, ORIGIN, ("content-type", form)]),
                Err(Denied::Form)
            );
        }
        assert_eq!(post(&[HOST, ORIGIN]), Err(Denied::Form));
    }

    #[test]
    fn a_token_is_long_fresh_and_compared_whole() {
        let guard = Guard::new(PORT).unwrap();
        assert_ne!(guard.token, Guard::new(PORT).unwrap().token);
        assert_eq!(guard.token.len(), 48);
        let half = &guard.token[..24];
        let longer = format!("{}0", guard.token);
        let other = guard.token.replace(|c: char| c.is_ascii_digit(), "x");
        for token in ["", half, &longer, &other, "x"] {
            let denied = ask(&guard, Method::GET, token, &[HOST]);
            assert_eq!(denied, Err(Denied::Token), "{token}");
        }
    }

    #[test]
    fn the_token_for_once_is_good_once_and_gives_a_cookie() {
        let guard = Guard::new(PORT).unwrap();
        let once = guard.address_for_once();
        let once = once.split('/').nth(3).unwrap();
        assert!(!once.contains(&guard.token) && once.len() == 48);
        let mut headers = HeaderMap::new();
        headers.insert(HOST.0, HOST.1.parse().unwrap());
        let get = |path: &str, headers: &HeaderMap| guard.admit(&Method::GET, path, headers);
        // Deeper paths and other verbs do not take it.
        assert_eq!(
            get(&format!("/{once}/api/start"), &headers),
            Err(Denied::Token)
        );
        let head = guard.admit(&Method::HEAD, &format!("/{once}/"), &headers);
        assert_eq!(head, Err(Denied::Token));
        let Ok(Admitted::Once { page, cookie }) = get(&format!("/{once}/"), &headers) else {
            panic!("the token was not taken");
        };
        assert_eq!(get(&format!("/{once}/"), &headers), Err(Denied::Token));
        assert!(cookie.ends_with("; HttpOnly; SameSite=Strict"), "{cookie}");
        assert!(cookie.contains(&format!("; Path={page};")), "{cookie}");
        assert!(!cookie.contains(&guard.token) && !page.contains(&guard.token));
        // The path alone is worth nothing, nor is another's cookie.
        assert_eq!(get(&page, &headers), Err(Denied::Token));
        headers.insert(COOKIE, "cuptally-40123=00; a=b".parse().unwrap());
        assert_eq!(get(&page, &headers), Err(Denied::Token));
        let pair = cookie.split(';').next().unwrap();
        headers.insert(COOKIE, format!("a=b; {pair}").parse().unwrap());
        assert_eq!(get(&page, &headers), Ok(Admitted::Page));
        assert_eq!(
            get(&format!("{page}api/start"), &headers),
            Ok(Admitted::Page)
        );
    }
}
