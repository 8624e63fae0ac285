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
//! Writing must also say that it sends JSON, which no form can.

use axum::http::header::{CONTENT_TYPE, HOST, ORIGIN};
use axum::http::{HeaderMap, Method, StatusCode};

/// Bytes of chance in a token: more than can ever be tried.
const TOKEN_BYTES: usize = 24;

/// The checks of one server.
#[derive(Clone, Debug)]
pub struct Guard {
    token: String,
    port: u16,
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
        let mut chance = [0; TOKEN_BYTES];
        getrandom::fill(&mut chance)?;
        let token = chance.iter().map(|byte| format!("{byte:02x}")).collect();
        Ok(Self { token, port })
    }

    /// The page's address.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.port, self.token)
    }

    /// Lets a question pass, or says why not.
    ///
    /// # Errors
    /// [`Denied`] when it does not come from our page.
    pub fn admit(&self, method: &Method, path: &str, headers: &HeaderMap) -> Result<(), Denied> {
        let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or(""));
        let own = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", self.port));
        // One host, told once: two could be read differently.
        let mut hosts = headers.get_all(HOST).iter();
        let host = hosts.next().and_then(|host| host.to_str().ok());
        let host = host
            .filter(|host| own.iter().any(|name| name == host) && hosts.next().is_none())
            .ok_or(Denied::Host)?;
        let from_here = |origin: &str| origin.strip_prefix("http://") == Some(host);
        let writes = *method != Method::GET && *method != Method::HEAD;
        match text(ORIGIN.as_str()) {
            Some(origin) if !from_here(origin) => return Err(Denied::Site),
            None if writes => return Err(Denied::Site),
            _ => {}
        }
        let site = text("sec-fetch-site").unwrap_or("same-origin");
        if !["same-origin", "none"].contains(&site) || (writes && site == "none") {
            return Err(Denied::Site);
        }
        let given = path.split('/').nth(1).unwrap_or("");
        if !same(given, &self.token) {
            return Err(Denied::Token);
        }
        if writes && text(CONTENT_TYPE.as_str()) != Some("application/json") {
            return Err(Denied::Form);
        }
        Ok(())
    }
}

/// Compares in a time that does not tell how much of it is right.
fn same(given: &str, token: &str) -> bool {
    let differing = given
        .bytes()
        .zip(token.bytes())
        .fold(0, |sum, (a, b)| sum | (a ^ b));
    given.len() == token.len() && differing == 0
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use axum::http::HeaderName;

    const PORT: u16 = 40123;

    fn ask(
        guard: &Guard,
        method: Method,
        token: &str,
        pairs: &[(&str, &str)],
    ) -> Result<(), Denied> {
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
            assert_eq!(ask(&guard, Method::GET, &token, pairs), Ok(()), "{pairs:?}");
        }
        assert_eq!(
            ask(&guard, Method::POST, &token, &[HOST, ORIGIN, JSON]),
            Ok(())
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
}
