//! Who may ask: a browser on this machine that was opened with the one-time address, and nobody through it.
//!
//! A page elsewhere can make a browser send requests to the loopback address, under a name of its own (DNS rebinding) or
//! across sites. So the `Host` must be this address, an `Origin` must be this page, and a session must have been opened.
//! A session lies in a cookie that no script reads and that is never sent from another site.

use std::sync::{Mutex, PoisonError};

use axum::http::{HeaderMap, Method, header};

use super::ServeError;

/// Sessions at most: browsers of one person at one machine.
const SESSIONS: usize = 64;
/// Addresses handed out and not yet opened, at most.
const ADDRESSES: usize = 16;

/// Keys of one run of the program.
#[derive(Debug)]
pub(super) struct Guard {
    port: u16,
    keys: Mutex<Keys>,
}

#[derive(Debug, Default)]
struct Keys {
    /// One-time tokens that were not used yet.
    tokens: Vec<String>,
    sessions: Vec<String>,
}

/// Why somebody may not ask.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Refused {
    /// Asked for under another name.
    Host,
    /// Asked for by another page.
    Origin,
    /// No session.
    Session,
}

impl Refused {
    /// What is said to whoever asked.
    pub fn says(self) -> &'static str {
        match self {
            Refused::Host => {
                "This sheet is served at 127.0.0.1 alone; open the address that the program printed.\n"
            }
            Refused::Origin => "Another page may not ask for this.\n",
            Refused::Session => {
                "Open the address that the program printed. It works once: in the browser in which it was opened, further \
                 tabs need no token; for another browser, ask that sheet for a new address or start the program again.\n"
            }
        }
    }
}

/// 32 hexadecimal digits that nobody can guess.
fn key() -> Result<String, ServeError> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|e| ServeError::Random(e.to_string()))?;
    Ok(super::save::hex(&bytes))
}

/// Whether two keys are the same, in a time that does not tell where they differ.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |d, (x, y)| d | (x ^ y)) == 0
}

impl Guard {
    /// Keys for a port.
    ///
    /// # Errors
    /// The system gives no random bytes.
    pub fn new(port: u16) -> Result<Guard, ServeError> {
        Ok(Guard { port, keys: Mutex::new(Keys::default()) })
    }

    /// An address that opens the sheet once.
    ///
    /// # Errors
    /// The system gives no random bytes.
    pub fn address(&self) -> Result<String, ServeError> {
        let token = key()?;
        let address = format!("http://127.0.0.1:{}/?token={token}", self.port);
        let mut keys = self.keys();
        if keys.tokens.len() >= ADDRESSES {
            keys.tokens.remove(0);
        }
        keys.tokens.push(token);
        Ok(address)
    }

    /// Opens a session with a one-time token: the value of its `Set-Cookie`.
    pub fn open(&self, token: &str) -> Option<String> {
        let session = key().ok()?;
        let mut keys = self.keys();
        let at = keys.tokens.iter().position(|t| same(t, token))?;
        keys.tokens.remove(at);
        if keys.sessions.len() >= SESSIONS {
            keys.sessions.remove(0);
        }
        keys.sessions.push(session.clone());
        Some(format!("{}={session}; Path=/; HttpOnly; SameSite=Strict", self.cookie()))
    }

    /// Whether a request comes from this machine's page: its host and origin.
    pub fn place(&self, method: &Method, headers: &HeaderMap) -> Result<(), Refused> {
        let one = |name| {
            let mut all = headers.get_all(name).iter();
            (all.next().map(|v| v.to_str().unwrap_or("")), all.next().is_some())
        };
        let (host, twice) = one(header::HOST);
        if twice || !host.is_some_and(|h| self.is_here(h)) {
            return Err(Refused::Host);
        }
        let (origin, twice) = one(header::ORIGIN);
        let own = origin.is_none_or(|o| o.strip_prefix("http://").is_some_and(|h| self.is_here(h)));
        let changes = !matches!(*method, Method::GET | Method::HEAD);
        if twice || !own || (changes && origin.is_none()) {
            return Err(Refused::Origin);
        }
        // Browsers say where a request comes from; a link in a mail or another local page is another site.
        let fetched = headers.get("sec-fetch-site").and_then(|v| v.to_str().ok());
        if fetched.is_some_and(|site| site != "same-origin" && site != "none") {
            return Err(Refused::Origin);
        }
        Ok(())
    }

    /// Whether a request belongs to an open session.
    pub fn session(&self, headers: &HeaderMap) -> Result<(), Refused> {
        let name = self.cookie();
        let keys = self.keys();
        let known = headers
            .get_all(header::COOKIE)
            .iter()
            .filter_map(|v| v.to_str().ok())
            .flat_map(|v| v.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .any(|(n, value)| n == name && keys.sessions.iter().any(|s| same(s, value)));
        if known { Ok(()) } else { Err(Refused::Session) }
    }

    fn is_here(&self, host: &str) -> bool {
        [format!("127.0.0.1:{}", self.port), format!("localhost:{}", self.port)]
            .iter()
            .any(|h| h.eq_ignore_ascii_case(host))
    }

    /// Cookies are shared by all ports of an address, so each run has a name of its own.
    fn cookie(&self) -> String {
        format!("saddleroom_{}", self.port)
    }

    fn keys(&self) -> std::sync::MutexGuard<'_, Keys> {
        // Lists of keys are whole after each step, so that a fault elsewhere leaves them usable.
        self.keys.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&str, &str)]) -> HeaderMap {
        let mut map = HeaderMap::new();
        for (name, value) in pairs {
            map.append(header::HeaderName::from_bytes(name.as_bytes()).unwrap(), value.parse().unwrap());
        }
        map
    }

    #[test]
    fn a_token_opens_one_session_once() {
        let guard = Guard::new(4711).unwrap();
        let address = guard.address().unwrap();
        let token = address.strip_prefix("http://127.0.0.1:4711/?token=").unwrap();
        assert_eq!(guard.open("0000"), None);
        let cookie = guard.open(token).unwrap();
        assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"));
        assert_eq!(guard.open(token), None, "a second time");
        let pair = cookie.split(';').next().unwrap();
        assert_eq!(guard.session(&headers(&[("cookie", pair)])), Ok(()));
        assert_eq!(guard.session(&headers(&[("cookie", &format!("a=b; {pair}"))])), Ok(()));
        assert_eq!(guard.session(&headers(&[("cookie", &format!("{pair}0"))])), Err(Refused::Session));
        assert_eq!(guard.session(&HeaderMap::new()), Err(Refused::Session));
    }

    #[test]
    fn only_this_address_and_this_page_may_ask() {
        let guard = Guard::new(4711).unwrap();
        let get = |pairs: &[(&str, &str)]| guard.place(&Method::GET, &headers(pairs));
        let post = |pairs: &[(&str, &str)]| guard.place(&Method::POST, &headers(pairs));
        let here = ("host", "127.0.0.1:4711");
        assert_eq!(get(&[here]), Ok(()));
        assert_eq!(get(&[("host", "localhost:4711")]), Ok(()));
        for host in ["evil.example:4711", "127.0.0.1", "127.0.0.1:80", "127.0.0.1:4711.evil.example", ""] {
            assert_eq!(get(&[("host", host)]), Err(Refused::Host), "{host}");
        }
        assert_eq!(get(&[]), Err(Refused::Host));
        assert_eq!(get(&[here, here]), Err(Refused::Host));
        assert_eq!(post(&[here]), Err(Refused::Origin), "a change without an origin");
        assert_eq!(post(&[here, ("origin", "http://127.0.0.1:4711")]), Ok(()));
        for origin in ["null", "http://evil.example", "https://127.0.0.1:4711", "http://127.0.0.1:4712"] {
            assert_eq!(post(&[here, ("origin", origin)]), Err(Refused::Origin), "{origin}");
            assert_eq!(get(&[here, ("origin", origin)]), Err(Refused::Origin), "{origin}");
        }
        for site in ["cross-site", "same-site"] {
            assert_eq!(get(&[here, ("sec-fetch-site", site)]), Err(Refused::Origin), "{site}");
        }
    }
}
