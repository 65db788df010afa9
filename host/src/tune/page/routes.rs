//! What the page can ask for, all of it behind the guard.

use super::{Work, answer, session};
use crate::page::Access;
use crate::page::guard;
use crate::tune::marks;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::Deserialize;
use std::sync::Arc;

const FILES: [(&str, &str, &str); 4] = [
    ("/", "text/html; charset=utf-8", include_str!("tune.html")),
    (
        "/tune.css",
        "text/css; charset=utf-8",
        include_str!("tune.css"),
    ),
    ("/tune.js", SCRIPT, include_str!("tune.js")),
    ("/picture.js", SCRIPT, include_str!("picture.js")),
];
const SCRIPT: &str = "text/javascript; charset=utf-8";

type Sliders = Query<Vec<(String, String)>>;

/// All routes, for this machine alone.
pub fn router(work: Arc<Work>) -> Router {
    let mut router = Router::new()
        .route("/session.json", get(begin))
        .route("/judge", get(judge))
        .route("/lap", get(lap))
        .route("/mark", post(mark))
        .route("/save", post(save));
    for (path, kind, content) in FILES {
        let file = move || async move { ([(header::CONTENT_TYPE, kind)], content) };
        router = router.route(path, get(file));
    }
    let access = Arc::new(Access::Loopback);
    router
        .with_state(work)
        .layer(axum::middleware::from_fn_with_state(
            access,
            guard::check_writing,
        ))
}

fn refuse(why: String) -> Response {
    (StatusCode::BAD_REQUEST, why).into_response()
}

async fn begin(State(work): State<Arc<Work>>) -> Response {
    match session::session(&work) {
        Ok(json) => ([(header::CONTENT_TYPE, "application/json")], json).into_response(),
        Err(error) => refuse(error.to_string()),
    }
}

async fn judge(State(work): State<Arc<Work>>, Query(sliders): Sliders) -> Response {
    match work.config(&sliders) {
        Ok(config) => Json(answer::answer(&work, &config)).into_response(),
        Err(why) => refuse(why),
    }
}

#[derive(Deserialize)]
struct LapOf {
    take: usize,
    lap: u16,
}

async fn lap(State(work): State<Arc<Work>>, Query(of): Query<LapOf>) -> Response {
    Json(session::trace(&work, of.take, of.lap)).into_response()
}

#[derive(Deserialize)]
struct Marking {
    take: usize,
    lap: String,
    corner: String,
    phase: String,
    advice: String,
    right: String,
}

async fn mark(State(work): State<Arc<Work>>, Query(m): Query<Marking>) -> Response {
    let right = match m.right.as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    };
    let done = marks::what(&m.lap, &m.corner, &m.phase, &m.advice)
        .and_then(|what| work.mark(m.take, what, right));
    match done {
        Ok(()) => Json(true).into_response(),
        Err(why) => refuse(why),
    }
}

async fn save(State(work): State<Arc<Work>>, Query(sliders): Sliders) -> Response {
    match work.config(&sliders).and_then(|config| work.save(&config)) {
        Ok(path) => Json(path).into_response(),
        Err(why) => refuse(why),
    }
}
