//! The work sheet on screen as a client sees it: who may ask, what is answered, what is saved, how it ends.

#![allow(clippy::unwrap_used)] // a test may fail loudly anywhere

mod serving;

use std::fs;
use std::io::Write;
use std::process::Command;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use serving::{Client, Served, answered, case, checked, connected, opened};

#[test]
fn nobody_but_the_page_of_this_machine_may_ask() {
    let folder = case("oban");
    let served = Served::start(folder.path(), &["case.toml"]);
    assert_eq!(served.line.lines().count(), 1);
    assert!(
        served.line.contains(&served.port.to_string()) && served.address.starts_with("http://127.0.0.1:")
    );
    let stranger = Client { port: served.port, cookie: String::new() };
    for path in [
        "/",
        "/sheet.js",
        "/api/state",
        "/report.html",
        "/?token=",
        "/?token=00000000000000000000000000000000",
    ] {
        assert_eq!(stranger.get(path).status, 403, "{path} without a token");
    }
    let client = served.open();
    assert_eq!(
        stranger.get(served.address.split_once(&served.port.to_string()).unwrap().1).status,
        403,
        "used twice"
    );

    let page = client.get("/").fine();
    let policy = page.header("content-security-policy").unwrap();
    assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
    assert!(
        !page.text().contains("<script>")
            && !page.text().contains(" style=")
            && !page.text().contains("onload=")
    );
    for asset in ["/sheet.js", "/cast.js", "/tilt.js", "/marks.js", "/sheet.css"] {
        assert!(!client.get(asset).fine().body.is_empty());
    }

    let here = format!("127.0.0.1:{}", served.port);
    for host in [
        "evil.example",
        "127.0.0.1",
        "127.0.0.1:1",
        &format!("evil.example:{}", served.port),
        &format!("[::1]:{}", served.port),
    ] {
        assert_eq!(client.ask("GET", "/api/state", &[("Host", host)], b"").status, 403, "host {host}");
    }
    for origin in [
        "http://evil.example",
        "null",
        "https://evil.example",
        &format!("http://{here}.evil.example"),
        "http://127.0.0.1:1",
    ] {
        assert_eq!(
            client.ask("GET", "/api/state", &[("Origin", origin)], b"").status,
            403,
            "origin {origin}"
        );
        assert_eq!(
            client.ask("POST", "/api/save", &[("Origin", origin)], b"").status,
            403,
            "origin {origin}"
        );
    }
    assert_eq!(
        client.ask("POST", "/api/save", &[("Origin", "")], b"").status,
        403,
        "a change without an origin"
    );
    assert_eq!(client.ask("GET", "/api/state", &[("Sec-Fetch-Site", "same-site")], b"").status, 403);
    assert_eq!(client.ask("GET", "/api/state", &[("Cookie", "")], b"").status, 403);

    // No path of a request is a path of a file.
    fs::write(folder.path().join("secret.txt"), "kept apart").unwrap();
    for path in [
        "/case.toml",
        "/secret.txt",
        "/../secret.txt",
        "/..%2fsecret.txt",
        "/%2e%2e/secret.txt",
        "//etc/passwd",
        "/./case.toml",
        "/sheet.js/../../secret.txt",
        "/api/../case.toml",
        "/sheet.js%00.txt",
        "/..\\secret.txt",
        "/C:/case.toml",
        "/api/cast/../../case.toml",
    ] {
        let answer = client.get(path);
        assert!(matches!(answer.status, 400 | 404), "{path}: {}", answer.status);
        assert!(!answer.text().contains("kept apart") && !answer.text().contains("restored_arch"));
    }
    for method in ["PUT", "DELETE", "PATCH", "OPTIONS"] {
        assert!(client.ask(method, "/api/state", &[], b"").status >= 400, "{method}");
    }
}

#[test]
fn what_is_too_large_or_too_slow_is_ended() {
    let folder = case("oban");
    let served = Served::start(folder.path(), &["case.toml"]);
    let client = served.open();
    let before = served.memory_mb();

    let huge = vec![b'x'; 100 << 20];
    let begun = Instant::now();
    assert_eq!(client.ask("POST", "/api/mark", &[], &huge).status, 413);
    // Without a length that is told beforehand.
    let mut stream = connected(served.port);
    let here = format!("127.0.0.1:{}", served.port);
    let head = format!(
        "POST /api/mark HTTP/1.1\r\nHost: {here}\r\nOrigin: http://{here}\r\nCookie: {}\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n\r\n",
        client.cookie
    );
    stream.write_all(head.as_bytes()).unwrap();
    let chunk = [b"10000\r\n".as_slice(), &vec![b'x'; 0x10000], b"\r\n"].concat();
    let sent = (0..1600).take_while(|_| stream.write_all(&chunk).is_ok()).count();
    assert!(sent < 1600, "a hundred megabytes were taken in");
    assert_eq!(answered(&mut stream).map_or(413, |a| a.status), 413);
    assert!(begun.elapsed() < Duration::from_secs(20));
    if let (Some(before), Some(after)) = (before, served.memory_mb()) {
        // Measuring goes on meanwhile and takes what it takes: under 400 MB for a demo case.
        assert!(after < before + 400, "{before} to {after} MB");
    }

    let long = format!("/api/state?after={}", "1".repeat(100_000));
    assert!(client.get(&long).status >= 400);
    for nonsense in [
        "/api/tilt?anterior=abc",
        "/api/tilt?anterior=1e9&left=0",
        "/api/tilt?anterior=NaN",
        "/api/point?at=1,2",
        "/api/point",
        "/api/distance?from=1,2,3",
    ] {
        assert_eq!(
            client.get(nonsense).status / 100,
            if nonsense.contains("point") || nonsense.contains("tilt") || nonsense.contains("distance") {
                4
            } else {
                2
            },
            "{nonsense}"
        );
    }
    for body in
        ["", "{", "[]", "{\"mark\":\"nothing\"}", "{\"mark\":\"tooth\",\"tooth\":99,\"point\":[0,0,0]}"]
    {
        assert_eq!(client.ask("POST", "/api/mark", &[], body.as_bytes()).status, 400, "{body}");
    }

    // A head that never ends and a body that never comes: others are served meanwhile, and both are ended.
    let mut slow_heads: Vec<_> = (0..20)
        .map(|_| {
            let mut stream = connected(served.port);
            stream.write_all(b"GET / HTTP/1.1\r\nHost: ").unwrap();
            stream
        })
        .collect();
    let mut slow_body = connected(served.port);
    let head = format!(
        "POST /api/mark HTTP/1.1\r\nHost: {here}\r\nOrigin: http://{here}\r\nCookie: {}\r\nConnection: close\r\nContent-Length: 100\r\n\r\n{{",
        client.cookie
    );
    slow_body.write_all(head.as_bytes()).unwrap();
    let begun = Instant::now();
    client.get("/api/state").fine();
    assert!(begun.elapsed() < Duration::from_secs(5), "others wait for a slow client");
    assert_eq!(answered(&mut slow_body).unwrap().status, 408);
    assert!(begun.elapsed() < Duration::from_secs(20));
    for stream in &mut slow_heads {
        let ended = answered(stream);
        assert!(ended.is_none_or(|a| a.status >= 400));
    }
    assert!(begun.elapsed() < Duration::from_secs(35), "a slow head is not ended");
    client.get("/api/state").fine();
}

/// Text of the case file without the comments' places: the comments alone.
fn comments(text: &str) -> Vec<String> {
    text.lines().filter_map(|l| l.split_once('#')).map(|(_, c)| c.to_owned()).collect()
}

#[test]
fn a_case_is_worked_on_and_saved() {
    let folder = case("oban");
    let file = folder.path().join("case.toml");
    let before = fs::read_to_string(&file).unwrap();
    let out = checked(folder.path(), &["case.toml"]);
    let served = Served::start(folder.path(), &["case.toml"]);
    let client = served.open();
    let state = client.settled();
    assert_eq!(
        (&state["unsaved"], &state["id"], &state["undo"]),
        (&json!(false), &json!("oban"), &Value::Null)
    );

    // The export and the figures are the command line's.
    assert!(
        client.get("/report.html").fine().body == fs::read(out.join("report.html")).unwrap(),
        "another page"
    );
    assert!(
        client.get("/report.json").fine().body == fs::read(out.join("report.json")).unwrap(),
        "other figures"
    );
    let report: Value = serde_json::from_slice(&fs::read(out.join("report.json")).unwrap()).unwrap();
    let told: usize =
        state["sections"].as_array().unwrap().iter().map(|s| s["findings"].as_array().unwrap().len()).sum();
    assert_eq!(told, report["findings"].as_array().unwrap().len());

    tilts(&client, &report);
    points(&client);
    marks(&client, &state);

    // Saved with all comments, and read again as it was saved.
    assert_eq!(fs::read_to_string(&file).unwrap(), before, "nothing is written before it is asked for");
    client.post("/api/save", &Value::Null).fine();
    let after = fs::read_to_string(&file).unwrap();
    assert_ne!(after, before);
    assert_eq!(comments(&after), comments(&before));
    assert_eq!(client.settled()["unsaved"], false);
    let again = checked(folder.path(), &["case.toml"]);
    assert!(
        client.get("/report.html").fine().body == fs::read(again.join("report.html")).unwrap(),
        "after saving"
    );

    // Changed on disk meanwhile: a question, and nothing is written over it.
    let theirs = format!("# by another\n{after}");
    fs::write(&file, &theirs).unwrap();
    client.post("/api/mark", &json!({ "mark": "abutments", "teeth": [35, 44] })).fine();
    let refused = client.post("/api/save", &json!({ "over": false }));
    assert_eq!(refused.status, 409);
    assert_eq!(refused.json()["on_disk"], theirs);
    assert_eq!(fs::read_to_string(&file).unwrap(), theirs);
    client.post("/api/reload", &Value::Null).fine();
    assert_eq!(client.get("/api/state").fine().json()["unsaved"], false);
    client.post("/api/undo", &Value::Null).fine();
    assert_eq!(client.post("/api/save", &Value::Null).status, 200, "after theirs was seen, mine may follow");
    assert!(fs::read_to_string(&file).unwrap().contains("abutments = [35, 44]"));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 4, "nothing is left beside the files");
}

/// The path of the case as the report gives it, another tilt, and the depths of what is drawn.
fn tilts(client: &Client, report: &Value) {
    let (head, rest) = opened(&client.get("/api/cast").fine().body);
    let vertices = head["vertices"].as_u64().unwrap() as usize;
    assert!(head["triangles"].as_u64().unwrap() <= 60_000);
    assert_eq!(rest.len(), 3 * vertices + 3 * head["triangles"].as_u64().unwrap() as usize);
    let (path, depths) = opened(&client.get("/api/tilt.bin").fine().body);
    let depths = measured(&depths, vertices);
    let surfaces = |v: &Value| -> Vec<Value> {
        v["abutments"]
            .as_array()
            .unwrap()
            .iter()
            .map(|a| json!([a["tooth"], a["surfaces"], a["survey_line_mm"]]))
            .collect()
    };
    assert_eq!(surfaces(&path), surfaces(report), "the abutments along the path of the case");
    let said = |v: &Value| -> Vec<Value> {
        v["findings"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|f| f["check"] == "undercut")
            .map(|f| f["says"].clone())
            .collect()
    };
    assert_eq!(said(&path), said(report));
    let (tilted, other) = opened(&client.get("/api/tilt.bin?anterior=6&left=-3").fine().body);
    let other = measured(&other, vertices);
    assert!((tilted["tilt_deg"]["anterior"].as_f64().unwrap() - 6.0).abs() < 1e-6);
    assert_ne!(surfaces(&tilted), surfaces(&path));
    assert!(depths.iter().zip(other).filter(|(a, b)| (**a - **b).abs() > 0.05).count() > 100);
    assert!(client.get("/api/tilt_map").fine().json()["svg"].as_str().unwrap().starts_with("<svg"));
}

/// The depths out of what is sent: so many numbers, and a byte for each behind them.
fn measured(all: &[f32], vertices: usize) -> &[f32] {
    assert_eq!(all.len(), vertices + vertices / 4);
    &all[..vertices]
}

fn points(client: &Client) {
    let crest = "-24.683,-28.952,-9.677";
    let read = client.get(&format!("/api/point?at={crest}")).fine().json();
    assert_eq!(read["region"], "residual ridge");
    let along = read["clearance"]["along_mm"].as_f64().unwrap();
    assert!((4.0..20.0).contains(&along), "{along}");
    assert!(read["section"].as_str().unwrap().contains("<svg") && read["gauge"]["depth_mm"].is_number());
    // Straight down on the same place: the first surface that is met from above.
    let ray = client.get("/api/point?from=-24.683,-28.952,50&toward=0,0,-1").fine().json();
    let apart = |a: &Value, b: &Value| {
        (0..3).map(|k| (a[k].as_f64().unwrap() - b[k].as_f64().unwrap()).abs()).fold(0.0, f64::max)
    };
    assert!(apart(&ray["at_mm"], &read["at_mm"]) < 0.3, "{} {}", ray["at_mm"], read["at_mm"]);
    let two = client.get("/api/distance?from=-24.683,-28.952,-9.677&to=26.379,-34.967,-0.808").fine().json();
    let straight = two["distance"]["straight_mm"].as_f64().unwrap();
    assert!((straight - 52.2).abs() < 0.5, "{straight}");
    assert_eq!(client.get("/api/point?at=500,500,500").status, 422);
}

/// Marks change the findings; a mark that cannot be is refused; undo and redo go through the history.
fn marks(client: &Client, first: &Value) {
    let refused =
        client.post("/api/mark", &json!({ "mark": "tooth", "tooth": 36, "point": [0.0, 0.0, 0.0] }));
    assert_eq!(refused.status, 422);
    assert!(refused.json()["says"].as_str().unwrap().contains("36 is missing"), "{}", refused.text());
    assert_eq!(client.get("/api/state").fine().json()["undo"], Value::Null);

    let tip = json!({ "mark": "clasp_tip", "tooth": 46, "point": [24.0, -20.2, -5.0], "surface": "mesial", "kind": "bar" });
    let plane = json!({ "mark": "occlusal_plane", "points": [[0.0, 0.0, 0.0], [-22.0, -24.0, 0.0], [22.0, -24.0, 0.6]] });
    let place = json!({ "mark": "attachment", "point": [-24.196, -27.203, -9.866], "replaces": null });
    client.post("/api/mark", &place).fine();
    let state = client.settled();
    let changed = state["changes"]["list"].as_array().unwrap();
    assert!(changed.iter().any(|c| c["now"]["code"] == "attachment_room"), "{}", state["changes"]);
    assert_eq!(state["unsaved"], true);
    client.post("/api/mark", &tip).fine();
    client.post("/api/mark", &plane).fine();
    let state = client.settled();
    assert_eq!(state["undo"], "occlusal plane marked");
    assert_ne!(state["sections"], first["sections"]);
    // The marks lie with the program: another tab, or the same one loaded again, sees them.
    let marks = state["marks"].as_array().unwrap();
    assert!(
        marks.iter().any(|m| m["key"] == "attachment_at") && marks.iter().any(|m| m["key"] == "clasp_tips")
    );

    let back: Vec<Value> = (0..3).map(|_| client.post("/api/undo", &Value::Null).fine().json()).collect();
    assert_eq!(back[2]["undo"], Value::Null);
    let state = client.settled();
    assert_eq!(
        (&state["sections"], &state["unsaved"]),
        (&first["sections"], &json!(false)),
        "all the way back"
    );
    for _ in 0..3 {
        client.post("/api/redo", &Value::Null).fine();
    }
    assert_eq!(client.settled()["redo"], Value::Null);
}

#[test]
fn two_scans_alone_are_served_and_ctrl_c_ends_it() {
    let folder = case("oban");
    fs::remove_file(folder.path().join("case.toml")).unwrap();
    let options = [
        "--mandible",
        "mandible.stl",
        "--maxilla",
        "maxilla.stl",
        "--restore",
        "mandible",
        "--missing",
        "36,37,45",
    ];
    let mut served = Served::start(folder.path(), &options);
    let client = served.open();
    client.settled();
    let out = checked(folder.path(), &options);
    assert!(
        client.get("/report.html").fine().body == fs::read(out.join("report.html")).unwrap(),
        "another page"
    );
    client.post("/api/save", &Value::Null).fine();
    let text = fs::read_to_string(folder.path().join("case.toml")).unwrap();
    assert!(text.contains("missing = [36, 37, 45]"), "{text}");

    // While a page waits for news and something is measured.
    client.post("/api/mark", &json!({ "mark": "abutments", "teeth": [35, 44] })).fine();
    let waiting = {
        let client = client.clone();
        std::thread::spawn(move || client.ask("GET", "/api/state?after=999999", &[], b"").status)
    };
    std::thread::sleep(Duration::from_millis(300));
    let begun = Instant::now();
    let asked = Command::new("kill").args(["-INT", &served.child.id().to_string()]).status().unwrap();
    assert!(asked.success());
    let ended = loop {
        if let Some(status) = served.child.try_wait().unwrap() {
            break status;
        }
        assert!(begun.elapsed() < Duration::from_secs(10), "it does not end");
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!(ended.code(), Some(0));
    drop(waiting);
    let mut said = String::new();
    std::io::Read::read_to_string(served.child.stderr.as_mut().unwrap(), &mut said).unwrap();
    assert!(said.contains("not been saved") && !said.contains("fault"), "{said}");
}

#[test]
fn a_case_that_cannot_be_read_is_never_offered() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(
        folder.path().join("case.toml"),
        "restored_arch = \"mandible\"\n[scans]\nmandible = \"no.stl\"\n",
    )
    .unwrap();
    let program = assert_cmd::cargo::cargo_bin("saddleroom");
    let told =
        Command::new(&program).current_dir(folder.path()).args(["serve", "case.toml"]).output().unwrap();
    assert_eq!(told.status.code(), Some(2));
    assert!(told.stdout.is_empty() && String::from_utf8_lossy(&told.stderr).contains("no.stl"));
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    let case = case("oban");
    let told = Command::new(&program)
        .current_dir(case.path())
        .args(["serve", "case.toml", "--port", &port])
        .output()
        .unwrap();
    assert_eq!(told.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&told.stderr).contains(&port));
}

/// Killed without warning, opened again: the marks are there, and undo takes them away; another case file on disk has them put aside.
#[test]
fn unsaved_marks_outlive_the_program() {
    let folder = case("oban");
    let file = folder.path().join("case.toml");
    let kept = folder.path().join("case.toml.unsaved");
    let before = fs::read_to_string(&file).unwrap();
    let place = json!({ "mark": "attachment", "point": [-24.196, -27.203, -9.866], "replaces": null });
    let marked = {
        let served = Served::start(folder.path(), &["case.toml"]);
        let client = served.open();
        client.post("/api/mark", &place).fine();
        client.get("/api/state").fine().json()["marks"].clone()
        // It is killed here.
    };
    assert_eq!(fs::read_to_string(&file).unwrap(), before);
    assert!(kept.exists());
    {
        let served = Served::start(folder.path(), &["case.toml"]);
        let client = served.open();
        let state = client.get("/api/state").fine().json();
        assert_eq!((&state["marks"], &state["unsaved"]), (&marked, &json!(true)));
        assert!(state["remark"].as_str().unwrap().contains("here again"), "{}", state["remark"]);
        let back = client.post("/api/undo", &Value::Null).fine().json();
        assert_eq!((&back["unsaved"], kept.exists()), (&json!(false), false));
        client.post("/api/redo", &Value::Null).fine();
        assert!(kept.exists());
    }
    // Somebody else writes the case file: the marks are neither put on it nor lost.
    fs::write(&file, format!("# by another\n{before}")).unwrap();
    let served = Served::start(folder.path(), &["case.toml"]);
    let state = served.open().get("/api/state").fine().json();
    assert_eq!((&state["unsaved"], &state["undo"]), (&json!(false), &Value::Null));
    assert!(state["remark"].as_str().unwrap().contains("case.toml.unsaved.1"), "{}", state["remark"]);
    let aside = fs::read_to_string(folder.path().join("case.toml.unsaved.1")).unwrap();
    assert!(aside.contains("attachment_at") && !kept.exists());
}
