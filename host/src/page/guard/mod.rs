//! Who may ask for a page.
//!
//! On loopback anybody on this machine may, as long as the request was meant for this server: the
//! `Host` and `Origin` checks keep pages of other sites out, whatever name they resolve to it. On
//! the network the secret of the printed link is needed as well.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use subtle::ConstantTimeEq;

/// Nothing but this server's own scripts, styles and events; no framing, no forms.
const CONTENT_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    connect-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; \
    frame-ancestors 'none'";

/// The secret of the printed link: 128 random bits in hexadecimal.
#[derive(Clone)]
pub struct Token(String);

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token(secret)")
    }
}

impl Token {
    /// A new one from the system's random source.
    pub fn random() -> Result<Self, getrandom::Error> {
        Ok(Self(random_hex()?))
    }

    /// The text that goes into the link.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// Compares in a time that does not depend on where the two differ.
    fn is(&self, other: &str) -> bool {
        self.0.as_bytes().ct_eq(other.as_bytes()).into()
    }
}

/// 128 random bits in hexadecimal.
pub fn random_hex() -> Result<String, getrandom::Error> {
    let mut bytes = [0u8; 16];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}

/// What a request needs.
#[derive(Clone, Debug)]
pub enum Access {
    /// It comes from this machine.
    Loopback,
    /// It carries the token.
    Network(Token),
}

/// The two ends of a connection, known from the socket, not from what the client says.
#[derive(Clone, Copy, Debug)]
pub struct Ends {
    /// This server's end.
    pub local: SocketAddr,
    /// The client's.
    pub peer: SocketAddr,
}

/// Lets a request through or answers it, and puts the safe headers on every answer.
pub async fn check(State(access): State<Arc<Access>>, request: Request, next: Next) -> Response {
    let admitted = admit(&access, &request);
    answer(admitted, request, next).await
}

/// As [`check`], for pages that also write: a `POST` without a body is let through when the browser
/// says that a page of this server sent it.
pub async fn check_writing(
    State(access): State<Arc<Access>>,
    request: Request,
    next: Next,
) -> Response {
    let admitted = if *request.method() == Method::POST {
        admit_post(&access, &request)
    } else {
        admit(&access, &request)
    };
    answer(admitted, request, next).await
}

async fn answer(admitted: Result<Admitted, Refusal>, request: Request, next: Next) -> Response {
    let mut response = match admitted {
        Ok(Admitted::Yes) => next.run(request).await,
        Ok(Admitted::WithNewCookie(cookie)) => enter(request.uri(), cookie),
        Err(refusal) => refusal.into_response(),
    };
    let headers = response.headers_mut();
    let mut set = |name: HeaderName, value: &'static str| {
        headers.insert(name, HeaderValue::from_static(value));
    };
    set(header::CACHE_CONTROL, "no-store");
    set(header::CONTENT_SECURITY_POLICY, CONTENT_POLICY);
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::REFERRER_POLICY, "no-referrer");
    set(header::X_FRAME_OPTIONS, "DENY");
    set(
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    );
    response
}

enum Admitted {
    Yes,
    WithNewCookie(HeaderValue),
}

type Refusal = (StatusCode, &'static str);

fn admit(access: &Access, request: &Request) -> Result<Admitted, Refusal> {
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        return Err((StatusCode::METHOD_NOT_ALLOWED, "only GET\n"));
    }
    admit_any(access, request)
}

/// A form of another site cannot leave out where it comes from, and must not write here.
fn admit_post(access: &Access, request: &Request) -> Result<Admitted, Refusal> {
    let headers = request.headers();
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    if one(headers, &header::ORIGIN).is_none() || !matches!(site, None | Some(b"same-origin")) {
        return Err((StatusCode::FORBIDDEN, "not from another site\n"));
    }
    match admit_any(access, request) {
        // A link that lets in does not write as well.
        Ok(Admitted::WithNewCookie(_)) => Err((StatusCode::FORBIDDEN, "not by a link\n")),
        other => other,
    }
}

fn admit_any(access: &Access, request: &Request) -> Result<Admitted, Refusal> {
    let headers = request.headers();
    let empty = |v: &HeaderValue| v == "0";
    if headers.contains_key(header::TRANSFER_ENCODING)
        || !headers.get(header::CONTENT_LENGTH).is_none_or(empty)
    {
        return Err((StatusCode::PAYLOAD_TOO_LARGE, "nothing can be sent here\n"));
    }
    let Some(ends) = request.extensions().get::<Ends>() else {
        return Err((StatusCode::FORBIDDEN, "unknown connection\n"));
    };
    let host = one(headers, &header::HOST).filter(|h| is_this_server(h, ends));
    let Some(host) = host else {
        return Err((
            StatusCode::MISDIRECTED_REQUEST,
            "use the address that cuepost printed\n",
        ));
    };
    if !same_origin(headers, host) {
        return Err((StatusCode::FORBIDDEN, "not from another site\n"));
    }
    match access {
        Access::Loopback if ends.peer.ip().to_canonical().is_loopback() => Ok(Admitted::Yes),
        Access::Loopback => Err((StatusCode::FORBIDDEN, "only from this machine\n")),
        Access::Network(token) => with_token(token, request, ends),
    }
}

fn with_token(token: &Token, request: &Request, ends: &Ends) -> Result<Admitted, Refusal> {
    let name = cookie_name(ends);
    let cookies = request.headers().get_all(header::COOKIE);
    let known = cookies
        .iter()
        .filter_map(|v| v.to_str().ok())
        .flat_map(|v| v.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .any(|(n, v)| n == name && token.is(v));
    let given = query_token(request.uri()).is_some_and(|t| token.is(t));
    if given {
        let text = format!(
            "{name}={}; Path=/; HttpOnly; SameSite=Lax; Max-Age=86400",
            token.text()
        );
        let cookie = HeaderValue::from_str(&text)
            .map_err(|_| (StatusCode::INTERNAL_SERVER_ERROR, "no cookie\n"))?;
        return Ok(Admitted::WithNewCookie(cookie));
    }
    if known {
        return Ok(Admitted::Yes);
    }
    Err((
        StatusCode::FORBIDDEN,
        "open the whole link that cuepost printed, with its token\n",
    ))
}

/// Cookies are shared between the ports of a host: two drives must not take each other's.
fn cookie_name(ends: &Ends) -> String {
    format!("cuepost_{}", ends.local.port())
}

fn query_token(uri: &Uri) -> Option<&str> {
    uri.query()?
        .split('&')
        .find_map(|pair| pair.strip_prefix("token="))
}

/// Sets the cookie and leads to the same page without the token, so that it stays out of the
/// history and the address bar.
fn enter(uri: &Uri, cookie: HeaderValue) -> Response {
    let path = match uri.path() {
        p if p.starts_with('/') && !p.starts_with("//") => p,
        _ => "/",
    };
    let Ok(place) = HeaderValue::from_str(path) else {
        return StatusCode::BAD_REQUEST.into_response();
    };
    (
        StatusCode::SEE_OTHER,
        [(header::LOCATION, place), (header::SET_COOKIE, cookie)],
    )
        .into_response()
}

/// The value of a header that is there exactly once.
fn one<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Option<&'h str> {
    let mut values = headers.get_all(name).iter();
    let first = values.next()?;
    match values.next() {
        Some(_) => None,
        None => first.to_str().ok(),
    }
}

/// Whether `Host` is an address of this server: a name that somebody else's DNS could give is none.
fn is_this_server(host: &str, ends: &Ends) -> bool {
    let (name, port) = match host.rsplit_once(':') {
        Some((name, port)) if !port.ends_with(']') => (name, port),
        _ => (host, "80"),
    };
    // As text: no browser writes zeros or a sign before it.
    if port != ends.local.port().to_string() {
        return false;
    }
    let local = ends.local.ip().to_canonical();
    if name.eq_ignore_ascii_case("localhost") {
        return local.is_loopback();
    }
    let bare = name
        .strip_prefix('[')
        .and_then(|n| n.strip_suffix(']'))
        .unwrap_or(name);
    bare.parse::<IpAddr>()
        .is_ok_and(|ip| ip.to_canonical() == local)
}

/// Whether the browser says that the request comes from a page of this server, or from none.
fn same_origin(headers: &HeaderMap, host: &str) -> bool {
    let origin_ok = match headers.get_all(header::ORIGIN).iter().count() {
        0 => true,
        _ => one(headers, &header::ORIGIN)
            .and_then(|o| o.strip_prefix("http://"))
            .is_some_and(|o| o.eq_ignore_ascii_case(host)),
    };
    let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
    let navigates = headers
        .get("sec-fetch-mode")
        .is_some_and(|m| m == "navigate");
    let site_ok = match site {
        None | Some(b"same-origin" | b"none") => true,
        // Following a link from elsewhere to the page itself is fine; fetching from it is not.
        Some(_) => navigates,
    };
    origin_ok && site_ok
}

#[cfg(test)]
mod tests;
