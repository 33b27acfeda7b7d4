//! The program as it is typed: run it, and look at what it printed and wrote.

#![allow(dead_code, clippy::unwrap_used)] // each test reads its own part of it, and may fail loudly anywhere

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use saddleroom::mesh::Mesh;
use saddleroom::phantom::stl;
use saddleroom::space::Motion;
use serde_json::Value;

pub fn saddleroom(arguments: &[&str]) -> Ran {
    let output = Command::cargo_bin("saddleroom").unwrap().args(arguments).output().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

pub struct Ran {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Ran {
    pub fn ends(self, code: i32) -> Ran {
        assert_eq!(self.code, code, "out:\n{}\nerr:\n{}", self.out, self.err);
        self
    }
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap()
    }
    pub fn refuses_with(self, words: &[&str]) {
        let ran = self.ends(2);
        assert!(ran.out.is_empty(), "standard output must stay empty: {}", ran.out);
        for word in words {
            assert!(ran.err.contains(word), "`{word}` is not in:\n{}", ran.err);
        }
        assert!(!ran.err.contains("panicked") && !ran.err.contains("fault in the program"), "{}", ran.err);
    }
}

pub struct Bench {
    pub dir: tempfile::TempDir,
}

impl Bench {
    pub fn new() -> Bench {
        Bench { dir: tempfile::tempdir().unwrap() }
    }
    pub fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }
    pub fn name(&self, name: &str) -> String {
        self.path(name).display().to_string()
    }
    pub fn put(&self, name: &str, mesh: &Mesh) -> String {
        fs::write(self.path(name), stl::binary(mesh, "test")).unwrap();
        self.name(name)
    }
    pub fn text(&self, name: &str, text: &str) -> String {
        fs::write(self.path(name), text).unwrap();
        self.name(name)
    }
}

pub fn moved(mesh: &Mesh, by: [f64; 3]) -> Mesh {
    mesh.moved(&Motion::translation(by[0], by[1], by[2]))
}

/// Number of columns and rows of the vertex block, and the header's property lines.
pub fn ply_properties(path: &Path) -> Vec<String> {
    let bytes = fs::read(path).unwrap();
    let end = bytes.windows(11).position(|w| w == b"end_header\n").unwrap();
    let head = std::str::from_utf8(&bytes[..end]).unwrap();
    assert!(head.starts_with("ply\nformat binary_little_endian 1.0\n"));
    head.lines().filter(|l| l.starts_with("property")).map(|l| l["property ".len()..].to_owned()).collect()
}

pub fn is_valid(kind: &str, value: &Value) {
    let schema = saddleroom(&["schema", kind]).ends(0).json();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> =
        validator.iter_errors(value).map(|e| format!("{}: {e}", e.instance_path())).collect();
    assert!(errors.is_empty(), "{kind}: {errors:#?}");
}
