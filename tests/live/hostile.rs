//! Slow, many, hostile and broken readers of the pages.

use crate::served::{Served, cue, lap};
use cuepost_engine::cue::{Advice, Phase, Size, Told};
use cuepost_host::page::Limits;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// A request as text, and everything that came back until the server closed.
fn ask(served: &Served, request: &str) -> String {
    let mut stream = connect(served);
    let request = request.replace("HOST", &host(served));
    // The server may close before it has taken everything.
    let _ = stream.write_all(request.as_bytes());
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn host(served: &Served) -> String {
    served.url("").replace("http://", "")
}

fn connect(served: &Served) -> TcpStream {
    let stream = TcpStream::connect(host(served)).expect("connects");
    // Longer than anything here takes: a hang is a failure, not a wait.
    stream
        .set_read_timeout(Some(Duration::from_secs(60)))
        .expect("set");
    stream
}

fn get(path: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nHost: HOST\r\nConnection: close\r\n\r\n")
}

fn strict() -> Limits {
    Limits {
        head: Duration::from_millis(300),
        stall: Duration::from_millis(500),
        ..Limits::default()
    }
}

#[test]
fn every_answer_carries_the_safe_headers() {
    let served = Served::start(Limits::default());
    for path in [
        "/",
        "/driver",
        "/coach",
        "/driver.js",
        "/reference.json",
        "/nothing",
    ] {
        let answer = ask(&served, &get(path)).to_ascii_lowercase();
        for header in [
            "cache-control: no-store",
            "content-security-policy: default-src 'none'; script-src 'self';",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
            "x-frame-options: deny",
        ] {
            assert!(answer.contains(header), "{path}: {header}\n{answer}");
        }
    }
}

#[test]
fn nothing_can_be_sent_or_asked_under_another_name() {
    let served = Served::start(strict());
    let status = |request: &str| {
        ask(&served, request)
            .chars()
            .skip(9)
            .take(3)
            .collect::<String>()
    };
    assert_eq!(status(&get("/driver")), "200");
    assert_eq!(
        status(&get("/driver").replace("HOST", "evil.example")),
        "421"
    );
    assert_eq!(status(&get("/driver").replace("GET", "POST")), "405");
    assert_eq!(status(&get("/driver").replace("GET", "DELETE")), "405");
    let upload = "GET /driver HTTP/1.1\r\nHost: HOST\r\nContent-Length: 1000000\r\nConnection: close\r\n\r\nxx";
    assert_eq!(status(upload), "413");
    let chunked = "GET /driver HTTP/1.1\r\nHost: HOST\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n5\r\nhello\r\n";
    assert_eq!(status(chunked), "413");
    let foreign = "GET /events HTTP/1.1\r\nHost: HOST\r\nOrigin: http://evil.example\r\nConnection: close\r\n\r\n";
    assert_eq!(status(foreign), "403");
    assert_eq!(status(&get("/../../etc/passwd")), "404");
    assert_eq!(status(&get("/%2e%2e/etc/passwd")), "404");
    let long = format!(
        "GET /{} HTTP/1.1\r\nHost: HOST\r\n\r\n",
        "a".repeat(100_000)
    );
    assert!(["", "414", "431"].contains(&status(&long).as_str()));
    let many = format!(
        "GET / HTTP/1.1\r\nHost: HOST\r\n{}\r\n",
        "X-Many: 1\r\n".repeat(5000)
    );
    assert!(["", "431", "400"].contains(&status(&many).as_str()));
    for garbage in [
        "\0\0\0\0\r\n\r\n",
        "GET\r\n\r\n",
        "\x16\x03\x01\x02\x00\x01",
        "GET / HTTP/9.9\r\n\r\n",
    ] {
        assert!(
            ["", "400"].contains(&status(garbage).as_str()),
            "{garbage:?}"
        );
    }
    // After all of that it still serves.
    assert_eq!(status(&get("/coach")), "200");
}

#[test]
fn a_head_that_never_ends_and_an_idle_connection_are_closed() {
    let served = Served::start(strict());
    let mut slow = connect(&served);
    slow.write_all(b"GET /driver HTTP/1.1\r\nHost:")
        .expect("sent");
    let mut idle = connect(&served);
    let mut rest = Vec::new();
    // Both reads end because the server closes, not because of the minute's timeout.
    assert!(slow.read_to_end(&mut rest).is_ok());
    assert!(idle.read_to_end(&mut rest).is_ok());
}

#[test]
fn more_connections_than_allowed_do_not_keep_the_driver_out() {
    let served = Served::start(strict());
    let mut crowd: Vec<TcpStream> = (0..200).map(|_| connect(&served)).collect();
    // The crowd is let go when its time is over; then there is room again.
    for stream in &mut crowd {
        let mut rest = Vec::new();
        let _ = stream.read_to_end(&mut rest);
    }
    assert!(ask(&served, &get("/driver")).starts_with("HTTP/1.1 200"));
}

#[test]
fn stalled_readers_hold_nothing_up_and_are_let_go() {
    let served = Served::start(strict());
    let stalled: Vec<TcpStream> = (0..16)
        .map(|_| {
            let mut s = connect(&served);
            let request = format!("GET /events HTTP/1.1\r\nHost: {}\r\n\r\n", host(&served));
            s.write_all(request.as_bytes()).expect("asked");
            s
        })
        .collect();
    // The seventeenth is told to come back.
    let mut full = false;
    for _ in 0..200 {
        let answer = ask(&served, &get("/events?after=testrun-999"));
        full = answer.starts_with("HTTP/1.1 503");
        if full {
            break;
        }
    }
    assert!(full, "no more readers than allowed");
    // Enough to fill every buffer on the way, told without waiting for anybody.
    for i in 0..20_000u32 {
        let size = Size::Metres(i as f32);
        served.event(cue(Phase::Brake, Advice::Sooner, size, Told::After));
        if i % 512 == 511 {
            std::thread::sleep(Duration::from_millis(5));
        }
    }
    // They are let go, and there is room for a reader that reads.
    let mut served_again = false;
    for _ in 0..600 {
        served.driving(Some(0.0), 1, (0.0, 0.0));
        let mut reader = Reader::open(&served, None);
        if reader.status() == 200 {
            served_again = true;
            break;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    assert!(served_again);
    drop(stalled);
}

/// An event stream read by hand.
struct Reader {
    stream: TcpStream,
    text: String,
}

impl Reader {
    fn open(served: &Served, last: Option<&str>) -> Self {
        let mut stream = connect(served);
        let last = last.map_or(String::new(), |id| format!("Last-Event-ID: {id}\r\n"));
        let request = format!(
            "GET /events HTTP/1.1\r\nHost: {}\r\n{last}\r\n",
            host(served)
        );
        stream.write_all(request.as_bytes()).expect("asked");
        Self {
            stream,
            text: String::new(),
        }
    }

    fn more(&mut self) {
        let mut buffer = [0; 4096];
        let n = self.stream.read(&mut buffer).expect("the stream goes on");
        assert!(n > 0, "the stream ended: {}", self.text);
        self.text.push_str(&String::from_utf8_lossy(&buffer[..n]));
    }

    fn status(&mut self) -> u16 {
        while !self.text.contains("\r\n\r\n") {
            self.more();
        }
        self.text[9..12].parse().expect("a status")
    }

    /// Ids and kinds of the entries so far, read until there are so many.
    fn entries(&mut self, count: usize) -> Vec<(String, String)> {
        loop {
            let entries: Vec<(String, String)> = self
                .text
                .split("\n\n")
                .filter_map(|event| {
                    let field = |name: &str| {
                        event
                            .lines()
                            .find_map(|l| l.strip_prefix(name))
                            .map(str::to_owned)
                    };
                    Some((field("id: ")?, field("event: ")?))
                })
                .collect();
            if entries.len() >= count {
                return entries;
            }
            self.more();
        }
    }
}

#[test]
fn after_a_reconnect_each_lap_and_cue_comes_once() {
    let served = Served::start(Limits::default());
    for n in 1..=3 {
        served.event(lap(n, 72.0, 0.1, true));
    }
    let mut first = Reader::open(&served, None);
    let seen = first.entries(3);
    drop(first);
    served.event(cue(
        Phase::Brake,
        Advice::Later,
        Size::Metres(6.0),
        Told::After,
    ));
    served.event(lap(4, 72.0, 0.1, true));
    let last = &seen[seen.len() - 1].0;
    let mut second = Reader::open(&served, Some(last));
    let more = second.entries(2);
    let kinds: Vec<&str> = more.iter().map(|(_, kind)| kind.as_str()).collect();
    assert_eq!(kinds, ["cue", "lap"]);
    let mut ids: Vec<&String> = seen.iter().chain(&more).map(|(id, _)| id).collect();
    ids.dedup();
    assert_eq!(ids.len(), 5);
    // One that comes from another run begins afresh and gets everything.
    let mut other = Reader::open(&served, Some("otherrun-77"));
    assert_eq!(other.entries(5).len(), 5);
    assert!(other.text.contains("event: afresh"));
}
