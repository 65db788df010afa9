//! The pages' server, spoken to by anybody.

use cuepost_host::page::server::{Taken, Talk};
use cuepost_host::page::{Access, Hub, Limits, Token};
use std::cell::RefCell;
use std::sync::Arc;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::runtime::Runtime;

struct Served {
    runtime: Runtime,
    loopback: Talk,
    network: Talk,
    token: String,
}

thread_local! {
    static SERVED: RefCell<Option<Served>> = const { RefCell::new(None) };
}

/// What everything that is let through begins with.
const LET_THROUGH: &str = "HTTP/1.1 200";

/// Any bytes are answered or refused; nothing is shown to who does not know the secret, or asks
/// for another host; every answer of ours carries the safe headers.
pub fn web(data: &[u8]) {
    SERVED.with_borrow_mut(|served| {
        let served = served.get_or_insert_with(Served::new);
        let here = "127.0.0.1:8470";
        let open = served.ask(&served.loopback, here, "127.0.0.1:5000", data);
        let asked = String::from_utf8_lossy(data).to_ascii_lowercase();
        if open.contains(LET_THROUGH) {
            assert!(asked.contains("127.0.0.1:8470") || asked.contains("localhost:8470"));
        }
        let there = served.ask(&served.loopback, here, "192.0.2.7:5000", data);
        assert!(!there.contains(LET_THROUGH), "shown to another machine");
        let locked = served.ask(&served.network, "192.0.2.1:8470", "192.0.2.7:5000", data);
        if !asked.contains(&served.token) {
            assert!(!locked.contains(LET_THROUGH), "shown without the secret");
        }
        assert!(!locked.contains(&served.token), "the secret given away");
        for answer in [open, there, locked] {
            safe(&answer);
        }
    });
}

/// hyper's own refusals of what is no request have no body and no headers of ours.
fn safe(answer: &str) {
    let answer = answer.to_ascii_lowercase();
    let answers = answer.matches("http/1.1 ").count();
    let unread = ["400", "431", "414", "505"]
        .iter()
        .map(|code| answer.matches(&format!("http/1.1 {code}")).count())
        .sum::<usize>();
    for header in [
        "cache-control: no-store",
        "content-security-policy: default-src 'none'",
    ] {
        assert!(
            answer.matches(header).count() + unread >= answers,
            "{answer}"
        );
    }
}

impl Served {
    fn new() -> Self {
        let hub = Arc::new(Hub::new("fuzz".into()));
        hub.publish("lap", r#"{"event":"lap","lap":1}"#.into(), None);
        hub.set_now(r#"{"time_s":1}"#.into());
        // So that the stream of events ends.
        hub.end();
        let token = Token::random().expect("random numbers");
        let text = token.text().to_owned();
        let talk = |access| {
            let taken: Taken = Box::new(|_| {});
            Talk::new(hub.clone(), "{}".into(), access, Limits::default(), taken)
        };
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build()
            .expect("a runtime");
        Self {
            loopback: talk(Access::Loopback),
            network: talk(Access::Network(token)),
            token: text,
            runtime,
        }
    }

    fn ask(&self, talk: &Talk, local: &str, peer: &str, data: &[u8]) -> String {
        let (local, peer) = (
            local.parse().expect("an address"),
            peer.parse().expect("an address"),
        );
        self.runtime.block_on(async {
            let (ours, theirs) = tokio::io::duplex(1 << 20);
            let (mut take, mut give) = tokio::io::split(ours);
            let serve = talk.with(theirs, local, peer);
            let mut answer = Vec::new();
            let client = async {
                let _ = give.write_all(data).await;
                let _ = give.shutdown().await;
                let _ = take.read_to_end(&mut answer).await;
            };
            let (_, ()) = tokio::join!(serve, client);
            String::from_utf8_lossy(&answer).into_owned()
        })
    }
}
