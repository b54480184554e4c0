//! Who may come in: this machine's own browser, from our own pages, with the key that was handed over
//! once. Pure but for the counts of what was refused.

use axum::http::{HeaderMap, HeaderName, Method, StatusCode, Uri, header};
use std::fmt::Write as _;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

/// Bytes of a key.
const KEY_BYTES: usize = 32;
/// Where the one link leads.
pub const ENTER: &str = "/enter/";

/// Why a request was turned away.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// Asked for under another name.
    Host,
    /// Sent by a page of somebody else.
    Origin,
    /// Without the key, or with another one.
    Key,
    /// A link that was used already, or was never given.
    Link,
    /// A path that leads out.
    Path,
    /// Longer than anything that is asked here.
    Long,
    /// Not sent in time.
    Slow,
    /// No HTTP.
    Broken,
    /// More connections than one person needs.
    Crowd,
}

/// All of them with what they are called when they are counted.
const REFUSALS: [(Refusal, &str); 9] = [
    (Refusal::Host, "under another name"),
    (Refusal::Origin, "from pages of others"),
    (Refusal::Key, "without the key"),
    (Refusal::Link, "by a link that does not hold"),
    (Refusal::Path, "for paths that lead out"),
    (Refusal::Long, "too long"),
    (Refusal::Slow, "too slow"),
    (Refusal::Broken, "no HTTP"),
    (Refusal::Crowd, "too many at once"),
];

impl Refusal {
    /// The answer's status.
    #[must_use]
    pub fn status(self) -> StatusCode {
        match self {
            Self::Host => StatusCode::MISDIRECTED_REQUEST,
            Self::Origin => StatusCode::FORBIDDEN,
            Self::Key | Self::Link => StatusCode::UNAUTHORIZED,
            Self::Path | Self::Broken => StatusCode::BAD_REQUEST,
            Self::Long => StatusCode::PAYLOAD_TOO_LARGE,
            Self::Slow => StatusCode::REQUEST_TIMEOUT,
            Self::Crowd => StatusCode::SERVICE_UNAVAILABLE,
        }
    }
    /// One line for whoever reads the answer.
    #[must_use]
    pub fn line(self) -> &'static str {
        match self {
            Self::Host => "this address is not served here",
            Self::Origin => "refused: sent by another page",
            Self::Key => {
                "this window belongs to the browser that it was opened in; run lightloss open again"
            }
            Self::Link => "this link was used already; run lightloss open again",
            Self::Path => "there is no such page",
            Self::Long => "refused: too long",
            Self::Slow => "refused: not sent in time",
            Self::Broken => "refused: not understood",
            Self::Crowd => "too many pages of this window are open",
        }
    }
}

/// What an admitted request is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Admitted {
    /// The one link was followed: the key is to be handed over.
    Enter,
    /// A page or what it asks for.
    Inside,
}

/// The door of one window.
#[derive(Debug)]
pub struct Door {
    port: u16,
    key: String,
    link: Mutex<Option<String>>,
    refused: [AtomicUsize; REFUSALS.len()],
}

impl Door {
    /// A door at a port, with a key of its own.
    #[must_use]
    pub fn new(port: u16) -> Self {
        Self {
            port,
            key: random(),
            link: Mutex::new(None),
            refused: std::array::from_fn(|_| AtomicUsize::new(0)),
        }
    }
    /// A new link; an earlier one that was not used no longer holds.
    #[must_use]
    pub fn new_link(&self) -> String {
        let token = random();
        let at = SocketAddr::from(([127, 0, 0, 1], self.port));
        let link = format!("http://{at}{ENTER}{token}");
        *self.link.lock().unwrap_or_else(PoisonError::into_inner) = Some(token);
        link
    }
    /// What the browser keeps: cookies know no ports, so the name says which window it is for.
    #[must_use]
    pub fn cookie(&self) -> String {
        format!("{}={}; HttpOnly; SameSite=Strict; Path=/", self.cookie_name(), self.key)
    }
    /// Judges a request by its first lines.
    ///
    /// # Errors
    /// Why it is turned away; it is counted.
    pub fn admit(
        &self,
        method: &Method,
        uri: &Uri,
        headers: &HeaderMap,
    ) -> Result<Admitted, Refusal> {
        self.judge(method, uri, headers).inspect_err(|refusal| self.count(*refusal))
    }
    /// Counts what was turned away.
    pub fn count(&self, refusal: Refusal) {
        if let Some(at) = REFUSALS.iter().position(|(r, _)| *r == refusal) {
            self.refused[at].fetch_add(1, Ordering::Relaxed);
        }
    }
    /// What was turned away so far, in one line; `None` where nothing was.
    #[must_use]
    pub fn refused(&self) -> Option<String> {
        let counts = REFUSALS.iter().zip(&self.refused);
        let counts: Vec<(usize, &str)> = counts
            .map(|((_, words), n)| (n.load(Ordering::Relaxed), *words))
            .filter(|(n, _)| *n > 0)
            .collect();
        let all: usize = counts.iter().map(|(n, _)| n).sum();
        let parts: Vec<String> = counts.iter().map(|(n, words)| format!("{n} {words}")).collect();
        let one = if all == 1 { "request" } else { "requests" };
        (all > 0).then(|| format!("turned away: {all} {one}: {}", parts.join(", ")))
    }

    fn judge(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<Admitted, Refusal> {
        let host = single(headers, &header::HOST).ok_or(Refusal::Host)?;
        if !self.names().iter().any(|name| name == host) {
            return Err(Refusal::Host);
        }
        if leads_out(uri) {
            return Err(Refusal::Path);
        }
        let own = format!("http://{host}");
        let safe = method == Method::GET || method == Method::HEAD;
        match headers.get(header::ORIGIN) {
            Some(origin) if origin.as_bytes() != own.as_bytes() => return Err(Refusal::Origin),
            None if !safe => return Err(Refusal::Origin),
            _ => {}
        }
        if let Some(token) = uri.path().strip_prefix(ENTER) {
            return self.enter(token, headers);
        }
        // Browsers say where a request comes from; a page of another site has no business here.
        let site = headers.get("sec-fetch-site").map(|v| v.as_bytes());
        if site.is_some_and(|site| site != b"same-origin" && site != b"none") {
            return Err(Refusal::Origin);
        }
        if self.has_key(headers) { Ok(Admitted::Inside) } else { Err(Refusal::Key) }
    }
    fn enter(&self, token: &str, headers: &HeaderMap) -> Result<Admitted, Refusal> {
        let mut link = self.link.lock().unwrap_or_else(PoisonError::into_inner);
        let fits = link.as_ref().is_some_and(|own| equal(own.as_bytes(), token.as_bytes()));
        if fits {
            *link = None;
            return Ok(Admitted::Enter);
        }
        // Going back to the link in the browser that has the key.
        if self.has_key(headers) { Ok(Admitted::Enter) } else { Err(Refusal::Link) }
    }
    fn has_key(&self, headers: &HeaderMap) -> bool {
        let name = self.cookie_name();
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
        cookies
            .flat_map(|line| line.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .any(|(n, value)| n == name && equal(value.as_bytes(), self.key.as_bytes()))
    }
    fn cookie_name(&self) -> String {
        format!("lightloss-{}", self.port)
    }
    fn names(&self) -> [String; 3] {
        ["127.0.0.1", "localhost", "[::1]"].map(|name| format!("{name}:{}", self.port))
    }
}

/// The one value of a header; two are as good as none.
fn single<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    let mut values = headers.get_all(name).iter();
    let value = values.next()?.to_str().ok()?;
    values.next().is_none().then_some(value)
}

/// Nothing that is served here has dots, escapes or backslashes side by side in its path.
fn leads_out(uri: &Uri) -> bool {
    let path = uri.path();
    path.contains("..")
        || path.contains("//")
        || path.contains(['%', '\\', '\0'])
        || uri.authority().is_some()
}

/// Compares without telling by its time how much was right.
fn equal(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |apart, (x, y)| apart | (x ^ y)) == 0
}

fn random() -> String {
    let bytes: [u8; KEY_BYTES] = rand::random();
    bytes.iter().fold(String::new(), |mut text, byte| {
        // Writing to a string does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
