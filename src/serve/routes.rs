//! What may be asked. A fixed list: nothing of a request names a file, and whatever is not in the list is not there.

#![allow(clippy::result_large_err)] // what refuses a request is the answer itself, made once and sent

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Query, Request, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::Response;
use axum::routing::{get, post};
use serde::Deserialize;
use serde_json::{Value, json};

use super::answers;
use super::assets::{ASSETS, PAGE};
use super::desk::{Desk, Edition};
use super::edit::Edit;
use super::guard::{Guard, Refused};
use super::room::{Room, SaveAnswer};
use crate::analysis::{self, Aim};
use crate::estimate::Measured;
use crate::render::{json as report_json, tilt_map};
use crate::space::{Point, Tilt, Vector, direction};

/// Largest body of a request, bytes: a mark of four thousand points takes a quarter of it.
pub(super) const MOST_BODY: usize = 1 << 20;
/// Longest time that a body may take to arrive.
const BODY_TIME: Duration = Duration::from_secs(10);
/// How long a page is kept waiting for news before it asks again.
const NEWS_TIME: Duration = Duration::from_secs(20);
/// Longest wait for an answer that has to be measured.
const ANSWER_TIME: Duration = Duration::from_secs(600);
/// Farthest lean that a page may try, degrees: beyond it a direction lies nearly in the occlusal plane.
const STEEPEST_DEG: f64 = 60.0;

/// Own scripts and styles alone, nothing from elsewhere, no frame, no form.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; \
                      base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What every answer needs.
#[derive(Clone)]
pub(super) struct App {
    /// Who may ask.
    pub guard: Arc<Guard>,
    /// The case.
    pub room: Arc<Room>,
}

/// The list.
pub(super) fn router(app: App) -> Router {
    let mut router = Router::new()
        .route("/", get(page))
        .route("/report.html", get(report_html))
        .route("/report.json", get(report))
        .route("/api/state", get(state))
        .route("/api/cast", get(cast))
        .route("/api/opposing", get(opposing))
        .route("/api/tilt", get(tilt))
        .route("/api/tilt.bin", get(tilt_bin))
        .route("/api/tilt_map", get(map))
        .route("/api/point", get(point))
        .route("/api/distance", get(distance))
        .route("/api/mark", post(mark))
        .route("/api/undo", post(undo))
        .route("/api/redo", post(redo))
        .route("/api/save", post(save))
        .route("/api/reload", post(reload))
        .route("/api/address", post(address));
    for asset in ASSETS {
        router = router.route(asset.path, get(async || answer(StatusCode::OK, asset.kind, asset.bytes)));
    }
    router.fallback(nothing).layer(from_fn_with_state(app.clone(), guarded)).with_state(app)
}

fn answer(status: StatusCode, kind: &'static str, body: impl Into<Body>) -> Response {
    let mut response = Response::new(body.into());
    *response.status_mut() = status;
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    response
}

fn text(status: StatusCode, says: impl Into<String>) -> Response {
    answer(status, "text/plain; charset=utf-8", says.into())
}

fn as_json(status: StatusCode, value: &Value) -> Response {
    answer(status, "application/json", value.to_string())
}

/// A request that cannot be answered, with what to say.
fn cannot(status: StatusCode, says: impl Into<String>) -> Response {
    as_json(status, &json!({ "says": says.into() }))
}

async fn nothing() -> Response {
    text(StatusCode::NOT_FOUND, "There is nothing here.\n")
}

/// Lets through what comes from the page in an open session, and gives every answer its headers.
async fn guarded(State(app): State<App>, request: Request, next: Next) -> Response {
    let mut response = match admitted(&app, &request) {
        Ok(()) => next.run(request).await,
        Err(refusal) => refusal,
    };
    let headers = response.headers_mut();
    for (name, value) in [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cache-control", "no-store"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("x-frame-options", "DENY"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn admitted(app: &App, request: &Request) -> Result<(), Response> {
    let refuse = |refused: Refused| text(StatusCode::FORBIDDEN, refused.says());
    app.guard.place(request.method(), request.headers()).map_err(refuse)?;
    let opens = request.uri().path() == "/" && token(request.uri().query()).is_some();
    if !opens {
        app.guard.session(request.headers()).map_err(refuse)?;
    }
    let length =
        request.headers().get(header::CONTENT_LENGTH).and_then(|v| v.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|l| l > MOST_BODY as u64) {
        let mut response = text(StatusCode::PAYLOAD_TOO_LARGE, "The request is too large.\n");
        response.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
        return Err(response);
    }
    Ok(())
}

fn token(query: Option<&str>) -> Option<&str> {
    query?.split('&').find_map(|pair| pair.strip_prefix("token="))
}

async fn page(State(app): State<App>, request: Request) -> Response {
    let Some(token) = token(request.uri().query()) else {
        return answer(StatusCode::OK, "text/html; charset=utf-8", PAGE);
    };
    let opened = app.guard.open(token);
    if opened.is_none() && app.guard.session(request.headers()).is_err() {
        return text(StatusCode::FORBIDDEN, Refused::Session.says());
    }
    // The token leaves the address, so that it is in no history.
    let mut response = text(StatusCode::SEE_OTHER, "");
    response.headers_mut().insert(header::LOCATION, HeaderValue::from_static("/"));
    if let Some(cookie) = opened.and_then(|c| HeaderValue::from_str(&c).ok()) {
        response.headers_mut().insert(header::SET_COOKIE, cookie);
    }
    response
}

#[derive(Deserialize)]
struct After {
    after: Option<u64>,
}

async fn state(State(app): State<App>, Query(query): Query<After>) -> Response {
    if let Some(after) = query.after {
        let mut news = app.room.revisions();
        let newer = news.wait_for(|r| *r > after);
        // Without news the same state goes out again, which shows the page that the program is there.
        let _ = tokio::time::timeout(NEWS_TIME, newer).await;
    }
    as_json(StatusCode::OK, &app.room.state())
}

/// The analysis that can be asked now.
fn edition(app: &App) -> Result<Arc<Edition>, Response> {
    app.room.edition().ok_or_else(|| {
        cannot(StatusCode::SERVICE_UNAVAILABLE, "the scans are still being measured; wait a moment")
    })
}

/// Asks the analysis; what could not be measured is said with its reason.
async fn asked<T: Send + 'static>(
    app: &App,
    question: impl for<'d> FnOnce(&Desk<'d>) -> Measured<T> + Send + 'static,
) -> Result<T, Response> {
    let edition = edition(app)?;
    let told = tokio::time::timeout(ANSWER_TIME, edition.ask(question))
        .await
        .map_err(|_| cannot(StatusCode::GATEWAY_TIMEOUT, "the answer took too long"))?
        .map_err(|gone| cannot(StatusCode::INTERNAL_SERVER_ERROR, gone.to_string()))?;
    told.map_err(|reason| {
        let mend = reason.settled_by.as_ref().map_or(String::new(), |m| format!("; {m} would settle it"));
        cannot(StatusCode::UNPROCESSABLE_ENTITY, format!("{}{mend}", reason.because))
    })
}

/// Unwraps an answer or the refusal in its place.
fn either(result: Result<Response, Response>) -> Response {
    result.unwrap_or_else(|refusal| refusal)
}

async fn cast(State(app): State<App>) -> Response {
    either(asked(&app, |desk| Ok(desk.cast.bytes.clone())).await.map(binary))
}

async fn opposing(State(app): State<App>) -> Response {
    let found = asked(&app, |desk| Ok(desk.opposing())).await;
    let none = || cannot(StatusCode::UNPROCESSABLE_ENTITY, "the case names no scan of the opposing arch");
    either(found.map(|bytes| bytes.map_or_else(none, binary)))
}

fn binary(bytes: Vec<u8>) -> Response {
    answer(StatusCode::OK, "application/octet-stream", bytes)
}

/// A tilt in the query; the path of the case without one.
#[derive(Clone, Copy, Deserialize)]
struct TiltAsked {
    anterior: Option<f64>,
    left: Option<f64>,
}

impl TiltAsked {
    fn tilt(self) -> Result<Option<Tilt>, Response> {
        if self.anterior.is_none() && self.left.is_none() {
            return Ok(None);
        }
        let tilt = Tilt { anterior_deg: self.anterior.unwrap_or(0.0), left_deg: self.left.unwrap_or(0.0) };
        if [tilt.anterior_deg, tilt.left_deg].iter().all(|v| v.abs() <= STEEPEST_DEG) {
            return Ok(Some(tilt));
        }
        let says = format!("a tilt lies between -{0} and {0} degrees", STEEPEST_DEG as u32);
        Err(cannot(StatusCode::BAD_REQUEST, says))
    }
}

async fn tilt(State(app): State<App>, Query(query): Query<TiltAsked>) -> Response {
    let notation = app.room.notation();
    let answered = async {
        let tilt = query.tilt()?;
        let value = asked(&app, move |desk| Ok(answers::tilt(&*desk.at_tilt(tilt)?, notation))).await?;
        Ok(as_json(StatusCode::OK, &value))
    };
    either(answered.await)
}

async fn tilt_bin(State(app): State<App>, Query(query): Query<TiltAsked>) -> Response {
    let notation = app.room.notation();
    let answered = async {
        let tilt = query.tilt()?;
        let bytes = asked(&app, move |desk| {
            Ok(answers::tilt_with_depths(&*desk.at_tilt(tilt)?, desk.cast, notation))
        })
        .await?;
        Ok(binary(bytes))
    };
    either(answered.await)
}

async fn map(State(app): State<App>) -> Response {
    let found = asked(&app, |desk| {
        let upper = desk.done.report.case.restored_arch == crate::case::Arch::Maxilla;
        let path = desk.done.path_among_tilts();
        Ok(path.and_then(|p| Some((tilt_map::tilt_map(&p, upper)?, tilt_map::ground(&p, upper)?))))
    });
    let value = |map: Option<(Vec<u8>, tilt_map::Ground)>| match map {
        Some((svg, ground)) => json!({ "svg": String::from_utf8_lossy(&svg), "ground": ground }),
        None => Value::Null,
    };
    either(found.await.map(|map| as_json(StatusCode::OK, &value(map))))
}

/// Three numbers with commas.
fn triple(text: &str) -> Option<Vector> {
    let all: Vec<f64> = text.split(',').map(|p| p.trim().parse::<f64>().ok()).collect::<Option<_>>()?;
    let [x, y, z] = all[..] else { return None };
    let far = |c: f64| c.abs() <= 1e9;
    (far(x) && far(y) && far(z)).then(|| Vector::new(x, y, z))
}

#[derive(Deserialize)]
struct PointAsked {
    at: Option<String>,
    from: Option<String>,
    toward: Option<String>,
    anterior: Option<f64>,
    left: Option<f64>,
}

async fn point(State(app): State<App>, Query(query): Query<PointAsked>) -> Response {
    let notation = app.room.notation();
    let answered = async {
        let place = query.at.as_deref().and_then(triple).map(|v| Aim::Place(Point::from(v)));
        let ray = query.from.as_deref().and_then(triple).zip(query.toward.as_deref().and_then(triple));
        let ray = ray.and_then(|(from, toward)| Some(Aim::Ray(Point::from(from), direction(toward)?)));
        let aim = place.or(ray).ok_or_else(|| {
            cannot(StatusCode::BAD_REQUEST, "give at=x,y,z, or from=x,y,z and toward=x,y,z, in mm")
        })?;
        let tilt = TiltAsked { anterior: query.anterior, left: query.left }.tilt()?;
        let value = asked(&app, move |desk| {
            // Without a path the point is still a place, and its clearance is still told.
            let along = desk.at_tilt(tilt).ok();
            let read = analysis::read_point(desk.done, along.as_ref().map(|a| (&a.path, &a.field)), &aim)?;
            Ok(answers::point(&read, notation))
        })
        .await?;
        Ok(as_json(StatusCode::OK, &value))
    };
    either(answered.await)
}

#[derive(Deserialize)]
struct Between {
    from: String,
    to: String,
    anterior: Option<f64>,
    left: Option<f64>,
}

async fn distance(State(app): State<App>, Query(query): Query<Between>) -> Response {
    let answered = async {
        let bad = || cannot(StatusCode::BAD_REQUEST, "give from=x,y,z and to=x,y,z, in mm");
        let from = triple(&query.from).map(Point::from).ok_or_else(bad)?;
        let to = triple(&query.to).map(Point::from).ok_or_else(bad)?;
        let tilt = TiltAsked { anterior: query.anterior, left: query.left }.tilt()?;
        let value = asked(&app, move |desk| {
            let facts = &desk.done.facts;
            let path = match tilt {
                Some(tilt) => analysis::path_of(facts, tilt).ok(),
                None => facts.path.clone().ok(),
            };
            let (from, to) =
                (analysis::aimed(facts, &Aim::Place(from))?, analysis::aimed(facts, &Aim::Place(to))?);
            Ok(answers::apart(&analysis::apart(facts, path.as_ref(), &from.at, &to.at)))
        })
        .await?;
        Ok(as_json(StatusCode::OK, &value))
    };
    either(answered.await)
}

async fn report_html(State(app): State<App>) -> Response {
    let page = app.room.page();
    let made = exported(&app, move |desk| desk.page(&*page).to_vec()).await;
    either(made.map(|bytes| {
        let mut response = answer(StatusCode::OK, "text/html; charset=utf-8", bytes);
        let name = HeaderValue::from_static("attachment; filename=\"report.html\"");
        response.headers_mut().insert(header::CONTENT_DISPOSITION, name);
        response
    }))
}

async fn report(State(app): State<App>) -> Response {
    let made = exported(&app, |desk| report_json::bytes(&desk.done.report)).await;
    either(made.map(|bytes| answer(StatusCode::OK, "application/json", bytes)))
}

/// What the analysis of the present text gives, once it is there.
async fn exported(
    app: &App,
    make: impl for<'d> FnOnce(&Desk<'d>) -> Vec<u8> + Send + 'static,
) -> Result<Vec<u8>, Response> {
    let settled = tokio::time::timeout(ANSWER_TIME, app.room.settled())
        .await
        .map_err(|_| cannot(StatusCode::GATEWAY_TIMEOUT, "the answer took too long"))?
        .map_err(|why| cannot(StatusCode::UNPROCESSABLE_ENTITY, why))?;
    settled.ask(make).await.map_err(|gone| cannot(StatusCode::INTERNAL_SERVER_ERROR, gone.to_string()))
}

/// The body of a request, within its limits.
async fn body(request: Request) -> Result<Vec<u8>, Response> {
    match tokio::time::timeout(BODY_TIME, to_bytes(request.into_body(), MOST_BODY)).await {
        Ok(Ok(bytes)) => Ok(bytes.to_vec()),
        Ok(Err(_)) => {
            Err(cannot(StatusCode::PAYLOAD_TOO_LARGE, "the request is too large or was broken off"))
        }
        Err(_) => Err(cannot(StatusCode::REQUEST_TIMEOUT, "the request took too long to arrive")),
    }
}

/// The state after a change.
fn changed(app: &App, done: Result<(), String>) -> Response {
    match done {
        Ok(()) => as_json(StatusCode::OK, &app.room.state()),
        Err(says) => cannot(StatusCode::UNPROCESSABLE_ENTITY, says),
    }
}

async fn mark(State(app): State<App>, request: Request) -> Response {
    let read = async {
        let bytes = body(request).await?;
        serde_json::from_slice::<Edit>(&bytes)
            .map_err(|e| cannot(StatusCode::BAD_REQUEST, format!("that is no mark: {e}")))
    };
    either(read.await.map(|edit| changed(&app, app.room.mark(&edit))))
}

async fn undo(State(app): State<App>) -> Response {
    app.room.go(true);
    changed(&app, Ok(()))
}

async fn redo(State(app): State<App>) -> Response {
    app.room.go(false);
    changed(&app, Ok(()))
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct SaveAsked {
    /// Write over a file that was changed meanwhile.
    #[serde(default)]
    over: bool,
}

async fn save(State(app): State<App>, request: Request) -> Response {
    let bytes = match body(request).await {
        Ok(bytes) => bytes,
        Err(refusal) => return refusal,
    };
    let wanted = if bytes.is_empty() { Ok(SaveAsked::default()) } else { serde_json::from_slice(&bytes) };
    let Ok(SaveAsked { over }) = wanted else {
        return cannot(StatusCode::BAD_REQUEST, "saving takes {\"over\": true} or nothing");
    };
    match app.room.save(over) {
        SaveAnswer::Done => as_json(StatusCode::OK, &app.room.state()),
        SaveAnswer::Failed(says) => cannot(StatusCode::INTERNAL_SERVER_ERROR, says),
        SaveAnswer::Conflict(there) => as_json(
            StatusCode::CONFLICT,
            &json!({
                "says": "The case file on disk is not the one that this sheet was opened on or last wrote: somebody has \
                         changed it. Nothing was written.",
                "on_disk": there,
            }),
        ),
    }
}

async fn reload(State(app): State<App>) -> Response {
    changed(&app, app.room.take_from_disk())
}

async fn address(State(app): State<App>) -> Response {
    match app.guard.address() {
        Ok(address) => as_json(StatusCode::OK, &json!({ "address": address })),
        Err(e) => cannot(StatusCode::INTERNAL_SERVER_ERROR, e.to_string()),
    }
}
