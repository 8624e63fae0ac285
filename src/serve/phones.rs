//! Phones on the home network: who of them may ask.
//!
//! Whoever is on that network can reach the door, and read along: it is HTTP, as no phone trusts a certificate that this
//! computer made. So the network is trusted with the pictures, and the page says so. Against everybody else on it:
//!
//! | check | keeps out |
//! |---|---|
//! | a device pairs by a code that is good once, for ten minutes, and is locked after ten wrong ones | guessing |
//! | a paired device has a cookie of 24 random bytes, which only the page's path is sent with | everything unpaired |
//! | `Host`, `Origin`, `Sec-Fetch-Site` as for this computer's own browser | other sites, names that come to mean this address |
//!
//! What is not let in gets 404 and no word. A device can be sent away; all are when the program ends.

use std::net::{IpAddr, Ipv4Addr};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::http::header::USER_AGENT;
use axum::http::{HeaderMap, Method};
use serde::Serialize;

use super::guard::{Denied, chance, cookie_in, from_one_host, is_written, same};

/// Letters of a code: none that is taken for another. 31 of them, eight times, are 8.5e11 codes.
const LETTERS: &[u8] = b"ABCDEFGHJKMNPQRSTUVWXYZ23456789";
/// How many letters a code has.
const CODE: usize = 8;
/// So long a code is good.
const GOOD_FOR: Duration = Duration::from_secs(600);
/// After so many wrong ones no code is good until a new one is made on this computer: a guess then hits once in 8e10.
const MOST_WRONG: u32 = 10;
/// No more devices are paired at once.
const MOST_DEVICES: usize = 16;

/// A device that was paired.
#[derive(Clone, Debug)]
struct Device {
    number: u32,
    name: String,
    cookie: String,
}

/// A device as it is listed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Listed {
    /// Its number.
    pub number: u32,
    /// What kind it says it is.
    pub name: String,
}

/// A code to pair by.
#[derive(Clone, Debug)]
struct Code {
    letters: String,
    until: Instant,
    wrong: u32,
}

/// What the owner is shown.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Shown {
    /// The address that a phone opens to pair; none while there is no good code.
    pub address: Option<String>,
    /// Whether the last code was locked by wrong guesses.
    pub locked: bool,
    /// The paired devices.
    pub devices: Vec<Listed>,
}

#[derive(Debug, Default)]
struct Known {
    code: Option<Code>,
    locked: bool,
    devices: Vec<Device>,
    last: u32,
}

/// The door for phones.
#[derive(Debug)]
pub struct Phones {
    address: IpAddr,
    port: u16,
    /// The path that paired devices ask under; no secret to them.
    place: String,
    known: Mutex<Known>,
}

/// What a question at the door may have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    /// An answer: it comes from the device of this number.
    Device(u32),
    /// The page on which a device pairs, as it has the code.
    Pairing,
    /// That page's script.
    PairingScript,
    /// The cookie, and the way to the page: it paired.
    Paired {
        /// The page's path.
        page: String,
        /// The cookie as it is set.
        cookie: String,
    },
}

impl Phones {
    /// A door at this address, with no code yet.
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub fn at(address: IpAddr, port: u16) -> Result<Self, getrandom::Error> {
        Ok(Self {
            address,
            port,
            place: chance()?,
            known: Mutex::default(),
        })
    }

    fn known(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn host(&self) -> String {
        format!("{}:{}", self.address, self.port)
    }

    fn cookie_name(&self) -> String {
        format!("cuptally-phone-{}", self.port)
    }

    /// Makes a new code; an older one is no longer good.
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub fn new_code(&self, now: Instant) -> Result<(), getrandom::Error> {
        let code = Code {
            letters: letters()?,
            until: now + GOOD_FOR,
            wrong: 0,
        };
        let mut known = self.known();
        known.code = Some(code);
        known.locked = false;
        Ok(())
    }

    /// What the owner is shown.
    pub fn shown(&self, now: Instant) -> Shown {
        let known = self.known();
        let code = known.code.as_ref().filter(|code| now < code.until);
        let device = |device: &Device| Listed {
            number: device.number,
            name: device.name.clone(),
        };
        Shown {
            address: code.map(|code| format!("http://{}/{}/", self.host(), code.letters)),
            locked: known.locked,
            devices: known.devices.iter().map(device).collect(),
        }
    }

    /// Sends a device away; whether there was one of that number.
    pub fn send_away(&self, number: u32) -> bool {
        let mut known = self.known();
        let before = known.devices.len();
        known.devices.retain(|device| device.number != number);
        known.devices.len() < before
    }

    /// Lets a question pass, or says why not.
    ///
    /// # Errors
    /// [`Denied`]: whoever asks is told nothing of it.
    pub fn admit(
        &self,
        method: &Method,
        path: &str,
        headers: &HeaderMap,
        now: Instant,
    ) -> Result<Entry, Denied> {
        from_one_host(method, headers, &[self.host()])?;
        let mut parts = path.split('/').skip(1);
        let given = parts.next().unwrap_or("");
        if given == self.place {
            let cookie = cookie_in(headers, &self.cookie_name());
            let known = self.known();
            let device = known.devices.iter().find(|device| {
                (cookie.as_deref()).is_some_and(|cookie| same(cookie, &device.cookie))
            });
            let device = device.ok_or(Denied::Token)?;
            is_written(method, headers)?;
            return Ok(Entry::Device(device.number));
        }
        // Anything else is taken for a code, so that every guess counts.
        self.try_code(given, now)?;
        match (parts.next(), parts.next(), method) {
            (Some("") | None, None, &Method::GET) => Ok(Entry::Pairing),
            (Some("pairing.js"), None, &Method::GET) => Ok(Entry::PairingScript),
            (Some("pair"), None, &Method::POST) => {
                is_written(method, headers)?;
                self.pair(headers)
            }
            _ => Err(Denied::Token),
        }
    }

    /// Whether this is the code, and counts it where it is not.
    fn try_code(&self, given: &str, now: Instant) -> Result<(), Denied> {
        let mut known = self.known();
        let code = known.code.as_mut().filter(|code| now < code.until);
        let Some(code) = code else {
            return Err(Denied::Token);
        };
        if same(given, &code.letters) {
            return Ok(());
        }
        // What browsers ask for by themselves is no guess.
        if given != "favicon.ico" {
            code.wrong += 1;
        }
        if code.wrong >= MOST_WRONG {
            known.code = None;
            known.locked = true;
        }
        Err(Denied::Token)
    }

    /// Pairs a device, which uses the code up.
    fn pair(&self, headers: &HeaderMap) -> Result<Entry, Denied> {
        let cookie = chance().map_err(|_| Denied::Token)?;
        let mut known = self.known();
        if known.devices.len() >= MOST_DEVICES {
            return Err(Denied::Token);
        }
        known.code = None;
        known.last += 1;
        let number = known.last;
        let agent = headers
            .get(USER_AGENT)
            .and_then(|agent| agent.to_str().ok());
        known.devices.push(Device {
            number,
            name: format!("{} {number}", kind_of(agent.unwrap_or(""))),
            cookie: cookie.clone(),
        });
        let (name, place) = (self.cookie_name(), &self.place);
        Ok(Entry::Paired {
            page: format!("/{place}/"),
            cookie: format!("{name}={cookie}; Path=/{place}/; HttpOnly; SameSite=Strict"),
        })
    }
}

/// What a device says it is, as far as it helps to know it again.
fn kind_of(agent: &str) -> &'static str {
    match agent {
        agent if agent.contains("iPad") || agent.contains("Tablet") => "tablet",
        agent if agent.contains("Mobile") => "phone",
        _ => "device",
    }
}

/// A code: each letter as likely as any other.
fn letters() -> Result<String, getrandom::Error> {
    let mut code = String::new();
    // Bytes beyond the last whole round of letters would favour the first ones.
    let rounds = 256 / LETTERS.len() * LETTERS.len();
    while code.len() < CODE {
        let mut byte = [0];
        getrandom::fill(&mut byte)?;
        let byte = usize::from(byte[0]);
        if byte < rounds {
            code.push(char::from(LETTERS[byte % LETTERS.len()]));
        }
    }
    Ok(code)
}

/// The addresses of this computer in home networks, as RFC 1918 sets them apart.
pub fn home_addresses() -> Vec<Ipv4Addr> {
    let mut found: Vec<Ipv4Addr> = (if_addrs::get_if_addrs().into_iter().flatten())
        .filter_map(|one| match one.ip() {
            IpAddr::V4(address) if address.is_private() => Some(address),
            _ => None,
        })
        .collect();
    // Bridges of virtual machines are mostly in 172.16/12, homes hardly ever.
    found.sort_by_key(|address| (address.octets()[0] == 172, *address));
    found
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;
    use axum::http::HeaderName;

    const HOST: (&str, &str) = ("host", "192.168.1.7:40123");
    const ORIGIN: (&str, &str) = ("origin", "http://192.168.1.7:40123");
    const JSON: (&str, &str) = ("content-type", "application/json");

    fn door() -> Phones {
        Phones::at(IpAddr::from([192, 168, 1, 7]), 40123).unwrap()
    }

    fn headers(pairs: &[(&str, &str)]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.append(name.parse::<HeaderName>().unwrap(), value.parse().unwrap());
        }
        headers
    }

    fn code(door: &Phones, now: Instant) -> String {
        let address = door.shown(now).address.unwrap();
        address.split('/').nth(3).unwrap().to_owned()
    }

    fn pair(door: &Phones, now: Instant) -> (String, String) {
        door.new_code(now).unwrap();
        let path = format!("/{}/pair", code(door, now));
        let headers = headers(&[HOST, ORIGIN, JSON, ("user-agent", "X (Mobile)")]);
        let Ok(Entry::Paired { page, cookie }) = door.admit(&Method::POST, &path, &headers, now)
        else {
            panic!("it did not pair");
        };
        (page, cookie.split(';').next().unwrap().to_owned())
    }

    #[test]
    fn a_phone_pairs_once_and_is_known_by_its_cookie() {
        let (door, now) = (door(), Instant::now());
        let (page, cookie) = pair(&door, now);
        let own = [HOST, ("cookie", &cookie)];
        let get = |pairs: &[(&str, &str)]| {
            door.admit(
                &Method::GET,
                &format!("{page}api/state/x"),
                &headers(pairs),
                now,
            )
        };
        assert_eq!(get(&own), Ok(Entry::Device(1)));
        assert_eq!(get(&[HOST]), Err(Denied::Token));
        assert_eq!(
            get(&[HOST, ("cookie", "cuptally-phone-40123=00")]),
            Err(Denied::Token)
        );
        assert_eq!(
            get(&[("host", "quay.example:40123"), own[1]]),
            Err(Denied::Host)
        );
        let shown = door.shown(now);
        assert_eq!(
            (shown.address, shown.devices[0].name.as_str()),
            (None, "phone 1")
        );
        // Another phone needs another code, and the first stays.
        let (_, second) = pair(&door, now);
        assert_eq!(get(&[HOST, ("cookie", &second)]), Ok(Entry::Device(2)));
        assert!(door.send_away(1) && !door.send_away(1));
        assert_eq!(get(&own), Err(Denied::Token));
        assert_eq!(get(&[HOST, ("cookie", &second)]), Ok(Entry::Device(2)));
    }

    #[test]
    fn looking_at_the_code_does_not_use_it_up_and_pairing_does() {
        let (door, now) = (door(), Instant::now());
        door.new_code(now).unwrap();
        let path = format!("/{}/", code(&door, now));
        let get = |now| door.admit(&Method::GET, &path, &headers(&[HOST]), now);
        assert_eq!(get(now), Ok(Entry::Pairing));
        assert_eq!(get(now), Ok(Entry::Pairing));
        assert_eq!(get(now + GOOD_FOR), Err(Denied::Token));
        let write = |pairs: &[(&str, &str)]| {
            door.admit(&Method::POST, &format!("{path}pair"), &headers(pairs), now)
        };
        assert_eq!(write(&[HOST, JSON]), Err(Denied::Site));
        assert_eq!(write(&[HOST, ORIGIN]), Err(Denied::Form));
        assert_eq!(
            write(&[HOST, JSON, ("origin", "http://quay.example")]),
            Err(Denied::Site)
        );
        assert!(matches!(
            write(&[HOST, ORIGIN, JSON]),
            Ok(Entry::Paired { .. })
        ));
        assert_eq!(write(&[HOST, ORIGIN, JSON]), Err(Denied::Token));
        assert_eq!(get(now), Err(Denied::Token));
    }

    #[test]
    fn guessing_locks_the_code() {
        let (door, now) = (door(), Instant::now());
        door.new_code(now).unwrap();
        let right = code(&door, now);
        let get =
            |code: &str| door.admit(&Method::GET, &format!("/{code}/"), &headers(&[HOST]), now);
        assert_eq!(get("favicon.ico"), Err(Denied::Token));
        for guess in 0..MOST_WRONG {
            assert!(!door.shown(now).locked);
            assert_eq!(get(&format!("AAAA{guess:04}")), Err(Denied::Token));
        }
        assert_eq!(get(&right), Err(Denied::Token));
        assert!(door.shown(now).locked && door.shown(now).address.is_none());
        door.new_code(now).unwrap();
        assert_eq!(get(&code(&door, now)), Ok(Entry::Pairing));
    }

    #[test]
    fn codes_are_of_letters_that_are_not_taken_for_others() {
        let codes: Vec<String> = (0..200).map(|_| letters().unwrap()).collect();
        for code in &codes {
            assert!(
                code.len() == CODE && code.bytes().all(|b| LETTERS.contains(&b)),
                "{code}"
            );
        }
        assert!(codes.iter().any(|code| code.ends_with(|c| c > 'M')) && codes[0] != codes[1]);
    }
}
