//! A sheet that is served for a test, and a client that says exactly what it is told to.

#![allow(clippy::panic, dead_code)] // each test uses its own part of it

pub mod browser;

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

/// The program that is tested.
fn program() -> PathBuf {
    let own = std::env::current_exe().unwrap();
    let folder = own.parent().unwrap();
    // An example lies in a folder of its own beneath it.
    let beside = folder.ends_with("examples").then(|| folder.parent().map(|p| p.join("saddleroom")));
    beside.flatten().unwrap_or_else(|| assert_cmd::cargo::cargo_bin("saddleroom"))
}

/// A program that serves; it ends with the test.
pub struct Served {
    pub child: Child,
    /// What it printed.
    pub line: String,
    pub address: String,
    pub port: u16,
}

impl Served {
    /// Starts it with further arguments, in a folder.
    pub fn start(folder: &Path, arguments: &[&str]) -> Served {
        let mut child = Command::new(program())
            .current_dir(folder)
            .arg("serve")
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address: String = line.split_whitespace().find(|w| w.starts_with("http://")).unwrap_or("").into();
        let port = address.split(['/', ':']).nth(4).and_then(|p| p.parse().ok()).unwrap_or(0);
        assert!(port != 0, "no address in `{line}`");
        Served { child, line, address, port }
    }

    /// Its memory, megabytes, where the system tells it.
    pub fn memory_mb(&self) -> Option<u64> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).ok()?;
        let line = status.lines().find(|l| l.starts_with("VmRSS:"))?;
        line.split_whitespace().nth(1)?.parse::<u64>().ok().map(|kb| kb / 1024)
    }

    /// Opens a session with the address that was printed.
    pub fn open(&self) -> Client {
        let client = Client { port: self.port, cookie: String::new() };
        let path = self.address.split_once(&format!("{}", self.port)).unwrap().1;
        let answer = client.ask("GET", path, &[], b"");
        assert_eq!(answer.status, 303, "{}", answer.text());
        let cookie = answer.header("set-cookie").unwrap().split(';').next().unwrap().to_owned();
        Client { port: self.port, cookie }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Says what it is told to.
#[derive(Clone)]
pub struct Client {
    pub port: u16,
    pub cookie: String,
}

/// An answer.
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn header(&self, name: &str) -> Option<&str> {
        self.head
            .lines()
            .filter_map(|l| l.split_once(": "))
            .find(|(n, _)| n.eq_ignore_ascii_case(name))
            .map(|(_, v)| v.trim())
    }
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.text()))
    }
    pub fn fine(self) -> Answer {
        assert_eq!(self.status, 200, "{}", self.text());
        self
    }
}

pub fn connected(port: u16) -> TcpStream {
    let stream = TcpStream::connect(SocketAddr::from(([127, 0, 0, 1], port))).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    stream
}

/// Reads an answer to its end; `None` where the connection was closed without one.
pub fn answered(stream: &mut TcpStream) -> Option<Answer> {
    let mut all = Vec::new();
    // A connection that is reset after its answer has still been answered.
    let _ = stream.read_to_end(&mut all);
    let end = all.windows(4).position(|w| w == b"\r\n\r\n")?;
    let head = String::from_utf8_lossy(&all[..end]).into_owned();
    let status = head.split(' ').nth(1)?.parse().ok()?;
    Some(Answer { status, head, body: all[end + 4..].to_vec() })
}

impl Client {
    /// The headers of the page itself.
    fn own(&self) -> Vec<(String, String)> {
        let here = format!("127.0.0.1:{}", self.port);
        let mut all =
            vec![("Host".to_owned(), here.clone()), ("Origin".to_owned(), format!("http://{here}"))];
        if !self.cookie.is_empty() {
            all.push(("Cookie".to_owned(), self.cookie.clone()));
        }
        all
    }

    /// Asks; `other` headers stand in place of its own, an empty value leaves one out.
    pub fn ask(&self, method: &str, path: &str, other: &[(&str, &str)], body: &[u8]) -> Answer {
        let mut headers = self.own();
        headers.retain(|(n, _)| !other.iter().any(|(o, _)| o.eq_ignore_ascii_case(n)));
        headers.extend(other.iter().filter(|(_, v)| !v.is_empty()).map(|(n, v)| ((*n).into(), (*v).into())));
        let mut request =
            format!("{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
        headers.iter().for_each(|(n, v)| request.push_str(&format!("{n}: {v}\r\n")));
        request.push_str("\r\n");
        let mut stream = connected(self.port);
        stream.write_all(request.as_bytes()).unwrap();
        let _ = stream.write_all(body);
        answered(&mut stream).unwrap_or_else(|| panic!("no answer to {method} {path}"))
    }

    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[], b"")
    }

    pub fn post(&self, path: &str, body: &Value) -> Answer {
        let text = if body.is_null() { String::new() } else { body.to_string() };
        self.ask("POST", path, &[], text.as_bytes())
    }

    /// The state once the present text has been worked through.
    pub fn settled(&self) -> Value {
        let until = Instant::now() + Duration::from_secs(180);
        let mut state = self.get("/api/state").fine().json();
        while state["current"] != true && state["refused"].is_null() {
            assert!(Instant::now() < until, "not measured: {}", state["doing"]);
            state = self.get(&format!("/api/state?after={}", state["revision"])).fine().json();
        }
        state
    }
}

/// A copy of a demo case of the samples: its folder.
pub fn case(name: &str) -> tempfile::TempDir {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-meshes").join(name);
    let dir = tempfile::tempdir().unwrap();
    for file in ["case.toml", "mandible.stl", "maxilla.stl"] {
        std::fs::copy(from.join(file), dir.path().join(file)).unwrap();
    }
    // Few tilts are tried, so that a mark is worked through in short time.
    let file = dir.path().join("case.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text + "\n[limits]\npath_step_deg = 5.0\ntilt_most_deg = 10.0\n").unwrap();
    dir
}

/// What `check` writes for the case in a folder.
pub fn checked(folder: &Path, arguments: &[&str]) -> PathBuf {
    let out = folder.join("out");
    let done = Command::new(program())
        .current_dir(folder)
        .arg("check")
        .args(arguments)
        .args(["--out", "out", "--quiet"])
        .output()
        .unwrap();
    assert!(done.status.code().is_some_and(|c| c < 2), "{}", String::from_utf8_lossy(&done.stderr));
    out
}

/// A head of JSON and the bytes behind it.
pub fn opened(bytes: &[u8]) -> (Value, Vec<f32>) {
    let long = u32::from_le_bytes(bytes[..4].try_into().unwrap()) as usize;
    let head = serde_json::from_slice(&bytes[4..4 + long]).unwrap();
    let rest = bytes[4 + long..].chunks_exact(4).map(|c| f32::from_le_bytes(c.try_into().unwrap())).collect();
    (head, rest)
}
