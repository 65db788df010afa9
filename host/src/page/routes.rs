//! What can be asked for: the pages, the reference, and the stream of events.

use super::guard::{self, Access};
use super::hub::{self, Entry, Hub, Since};
use super::server::Taken;
use axum::Router;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::sse::{Event, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use futures_util::stream;
use serde::Deserialize;
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};

/// Entries taken from the hub at once.
const BATCH: usize = 64;
/// A silent stream says that it is alive this often.
const ALIVE: Duration = Duration::from_secs(5);
/// How soon a page asks again after its stream broke.
const RETRY: Duration = Duration::from_millis(1000);

/// Path, content type and content of everything that is the same in every drive.
const FILES: [(&str, &str, &str); 8] = [
    ("/", HTML, include_str!("index.html")),
    ("/driver", HTML, include_str!("driver.html")),
    ("/driver.css", CSS, include_str!("driver.css")),
    ("/driver.js", JS, include_str!("driver.js")),
    ("/coach", HTML, include_str!("coach.html")),
    ("/coach.css", CSS, include_str!("coach.css")),
    ("/coach.js", JS, include_str!("coach.js")),
    ("/stream.js", JS, include_str!("stream.js")),
];
const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const JS: &str = "text/javascript; charset=utf-8";

#[derive(Clone)]
struct App {
    hub: Arc<Hub>,
    reference: Arc<str>,
    readers: Arc<Semaphore>,
    taken: Arc<Taken>,
}

/// All routes behind the guard.
pub fn router(
    hub: Arc<Hub>,
    reference: String,
    readers: usize,
    access: Access,
    taken: Taken,
) -> Router {
    let app = App {
        hub,
        reference: reference.into(),
        readers: Arc::new(Semaphore::new(readers)),
        taken: Arc::new(taken),
    };
    let mut router = Router::new()
        .route("/reference.json", get(reference_json))
        .route("/events", get(events));
    for (path, kind, content) in FILES {
        let file = move || async move { ([(header::CONTENT_TYPE, kind)], content) };
        router = router.route(path, get(file));
    }
    router
        .with_state(app)
        .layer(axum::middleware::from_fn_with_state(
            Arc::new(access),
            guard::check,
        ))
}

async fn reference_json(State(app): State<App>) -> Response {
    let kind = [(header::CONTENT_TYPE, "application/json")];
    (kind, app.reference.to_string()).into_response()
}

#[derive(Deserialize)]
struct From {
    /// What a page that opens its stream anew has seen last.
    after: Option<String>,
}

async fn events(State(app): State<App>, headers: HeaderMap, Query(from): Query<From>) -> Response {
    let Ok(seat) = app.readers.clone().try_acquire_owned() else {
        let later = [(header::RETRY_AFTER, "5")];
        let busy = "too many pages are open\n";
        return (StatusCode::SERVICE_UNAVAILABLE, later, busy).into_response();
    };
    let seen = headers
        .get("last-event-id")
        .and_then(|v| v.to_str().ok())
        .map(str::to_owned)
        .or(from.after);
    let reader = Reader::new(app, seat, seen.as_deref());
    let events = stream::unfold(reader, |mut reader| async {
        let event = reader.next().await?;
        Some((Ok::<_, Infallible>(event), reader))
    });
    Sse::new(events).into_response()
}

/// One page that follows the hub.
struct Reader {
    app: App,
    changes: watch::Receiver<u64>,
    cursor: u64,
    now: u64,
    ready: VecDeque<Event>,
    ended: bool,
    _seat: OwnedSemaphorePermit,
}

impl Reader {
    fn new(app: App, seat: OwnedSemaphorePermit, seen: Option<&str>) -> Self {
        let mut reader = Self {
            changes: app.hub.changes(),
            cursor: 0,
            now: 0,
            ready: VecDeque::new(),
            ended: false,
            _seat: seat,
            app,
        };
        reader.ready.push_back(Event::default().retry(RETRY));
        match seen.map(|id| parse_id(id, reader.app.hub.run())) {
            Some(Some(id)) => reader.cursor = id,
            Some(None) => reader.afresh(),
            None => {}
        }
        reader
    }

    /// The next event; `None` once the drive has ended and everything is told.
    async fn next(&mut self) -> Option<Event> {
        loop {
            if let Some(event) = self.ready.pop_front() {
                return Some(event);
            }
            if self.ended {
                return None;
            }
            // Looking before waiting, and marking as seen before looking, misses nothing.
            self.changes.borrow_and_update();
            let ended = self.app.hub.ended();
            self.collect();
            if !self.ready.is_empty() {
                continue;
            }
            if ended {
                self.ended = true;
                return Some(Event::default().event("end").data("{}"));
            }
            match tokio::time::timeout(ALIVE, self.changes.changed()).await {
                Ok(Ok(())) => {}
                Ok(Err(_)) => self.ended = true,
                Err(_) => return Some(Event::default().comment("alive")),
            }
        }
    }

    fn collect(&mut self) {
        match self.app.hub.since(self.cursor, BATCH) {
            Since::Entries(entries) => {
                for entry in entries {
                    self.cursor = entry.id;
                    let event = self.entry(&entry);
                    self.ready.push_back(event);
                }
            }
            Since::Afresh => self.afresh(),
        }
        if let Some((number, json)) = self.app.hub.now_after(self.now) {
            self.now = number;
            self.ready
                .push_back(Event::default().event("now").data(&*json));
        }
    }

    fn afresh(&mut self) {
        self.cursor = 0;
        self.ready
            .push_back(Event::default().event("afresh").data("{}"));
    }

    fn entry(&self, entry: &Entry) -> Event {
        let age = Instant::now().saturating_duration_since(entry.at);
        if let (Some(arrived), true) = (entry.arrived, age < RETRY) {
            (self.app.taken)(arrived.elapsed());
        }
        Event::default()
            .id(format!("{}-{}", self.app.hub.run(), entry.id))
            .event(entry.kind)
            .data(hub::with_age(&entry.json, age))
    }
}

/// The number of an event id of this run; `None` for one of another run or no id at all.
fn parse_id(id: &str, run: &str) -> Option<u64> {
    id.strip_prefix(run)?.strip_prefix('-')?.parse().ok()
}
