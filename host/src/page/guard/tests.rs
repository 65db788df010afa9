//! Who gets in and who does not.

use super::*;
use axum::body::Body;

fn ends(local: &str, peer: &str) -> Ends {
    Ends {
        local: local.parse().expect("an address"),
        peer: peer.parse().expect("an address"),
    }
}

fn loopback() -> Ends {
    ends("127.0.0.1:8470", "127.0.0.1:50000")
}

fn network() -> Ends {
    ends("192.0.2.7:8470", "192.0.2.9:50000")
}

fn ask(access: &Access, ends: Ends, uri: &str, headers: &[(&str, &str)]) -> u16 {
    let mut request = Request::builder().uri(uri);
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    let mut request = request.body(Body::empty()).expect("a request");
    request.extensions_mut().insert(ends);
    match admit(access, &request) {
        Ok(Admitted::Yes) => 200,
        Ok(Admitted::WithNewCookie(_)) => 303,
        Err((status, _)) => status.as_u16(),
    }
}

#[test]
fn on_loopback_only_requests_meant_for_this_server() {
    let a = Access::Loopback;
    let host = |h: &str| ask(&a, loopback(), "/", &[("host", h)]);
    for good in ["127.0.0.1:8470", "localhost:8470", "LOCALHOST:8470"] {
        assert_eq!(host(good), 200, "{good}");
    }
    for bad in [
        "evil.example:8470", // a name that was made to resolve to this machine
        "127.0.0.1:80",
        "127.0.0.1:08470",
        "127.0.0.1:+8470",
        "127.0.0.1",
        "192.0.2.7:8470",
        "localhost:8470:8470",
        "[::1]:8470",
        ":8470",
        "",
    ] {
        assert_eq!(host(bad), 421, "{bad}");
    }
    assert_eq!(ask(&a, loopback(), "/", &[]), 421, "no host at all");
    let two = [("host", "127.0.0.1:8470"), ("host", "127.0.0.1:8470")];
    assert_eq!(ask(&a, loopback(), "/", &two), 421, "two hosts");
    let far = ends("127.0.0.1:8470", "192.0.2.9:1");
    assert_eq!(ask(&a, far, "/", &[("host", "127.0.0.1:8470")]), 403);
}

#[test]
fn ipv6_loopback_works_too() {
    let ends = ends("[::1]:8470", "[::1]:5000");
    assert_eq!(
        ask(&Access::Loopback, ends, "/", &[("host", "[::1]:8470")]),
        200
    );
    assert_eq!(ask(&Access::Loopback, ends, "/", &[("host", "[::1]")]), 421);
}

#[test]
fn other_sites_pages_get_nothing() {
    let a = Access::Loopback;
    let with = |extra: &[(&str, &str)]| {
        let mut h = vec![("host", "127.0.0.1:8470")];
        h.extend(extra);
        ask(&a, loopback(), "/events", &h)
    };
    assert_eq!(with(&[("origin", "http://127.0.0.1:8470")]), 200);
    assert_eq!(with(&[("origin", "http://evil.example")]), 403);
    assert_eq!(with(&[("origin", "null")]), 403);
    assert_eq!(with(&[("origin", "https://127.0.0.1:8470")]), 403);
    assert_eq!(with(&[("sec-fetch-site", "same-origin")]), 200);
    assert_eq!(with(&[("sec-fetch-site", "cross-site")]), 403);
    assert_eq!(
        with(&[
            ("sec-fetch-site", "cross-site"),
            ("sec-fetch-mode", "navigate")
        ]),
        200
    );
}

#[test]
fn on_the_network_the_token_is_needed() {
    let token = Token("00112233445566778899aabbccddeeff".into());
    let a = Access::Network(token);
    let host = ("host", "192.0.2.7:8470");
    let go = |uri: &str, cookie: &str| ask(&a, network(), uri, &[host, ("cookie", cookie)]);
    assert_eq!(ask(&a, network(), "/driver", &[host]), 403);
    assert_eq!(
        go("/driver?token=00112233445566778899aabbccddeeff", ""),
        303
    );
    assert_eq!(
        go("/driver?token=00112233445566778899aabbccddeefe", ""),
        403
    );
    assert_eq!(go("/driver?token=", ""), 403);
    let cookie = "other=1; cuepost_8470=00112233445566778899aabbccddeeff";
    assert_eq!(go("/driver", cookie), 200);
    assert_eq!(
        go("/driver", "cuepost_8471=00112233445566778899aabbccddeeff"),
        403
    );
    assert_eq!(go("/driver", "cuepost_8470="), 403);
    // Not even from this machine without it.
    let near = ends("127.0.0.1:8470", "127.0.0.1:1");
    assert_eq!(ask(&a, near, "/", &[("host", "127.0.0.1:8470")]), 403);
}

#[test]
fn nothing_can_be_sent() {
    let a = Access::Loopback;
    let host = ("host", "127.0.0.1:8470");
    assert_eq!(
        ask(&a, loopback(), "/", &[host, ("content-length", "5")]),
        413
    );
    assert_eq!(
        ask(&a, loopback(), "/", &[host, ("content-length", "0")]),
        200
    );
    assert_eq!(
        ask(
            &a,
            loopback(),
            "/",
            &[host, ("transfer-encoding", "chunked")]
        ),
        413
    );
}

#[test]
fn a_token_never_shows_in_debug_output_and_differs_each_time() {
    let (a, b) = (
        Token::random().expect("random"),
        Token::random().expect("random"),
    );
    assert_ne!(a.text(), b.text());
    assert_eq!(a.text().len(), 32);
    assert!(!format!("{a:?}").contains(a.text()));
}

#[test]
fn only_this_servers_own_pages_may_write() {
    let post = |headers: &[(&str, &str)]| {
        let mut request = Request::builder().method(Method::POST).uri("/mark");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let mut request = request.body(Body::empty()).expect("a request");
        request.extensions_mut().insert(loopback());
        admit_post(&Access::Loopback, &request).is_ok()
    };
    let host = ("host", "127.0.0.1:8470");
    let own = ("origin", "http://127.0.0.1:8470");
    assert!(post(&[host, own]));
    assert!(post(&[host, own, ("sec-fetch-site", "same-origin")]));
    assert!(post(&[host, own, ("content-length", "0")]));
    assert!(!post(&[host]), "no origin at all");
    assert!(!post(&[host, ("origin", "http://evil.example")]));
    assert!(!post(&[host, ("origin", "null")]));
    assert!(!post(&[
        host,
        own,
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-mode", "navigate")
    ]));
    assert!(
        !post(&[host, own, ("content-length", "7")]),
        "nothing is read"
    );
    assert!(!post(&[
        ("host", "evil.example:8470"),
        ("origin", "http://evil.example:8470")
    ]));
}
