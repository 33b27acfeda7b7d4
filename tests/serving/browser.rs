//! The work sheet in a headless browser: a driver, and what a hand does on the page.

#![allow(clippy::unwrap_used, clippy::print_stdout, dead_code)] // each test uses its own part of it

use std::fs;
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, MouseActions, PointerAction};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use serde_json::{Value, json};

/// A driver of the browser; it ends with the test.
struct Driver {
    child: Child,
    port: u16,
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn on_path(names: &[&str]) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    names.iter().flat_map(|n| std::env::split_paths(&path).map(move |dir| dir.join(n))).find(|p| p.is_file())
}

fn driver() -> Option<Driver> {
    let program = on_path(&["chromedriver"])?;
    let port = TcpListener::bind("127.0.0.1:0").ok()?.local_addr().ok()?.port();
    let child = Command::new(program)
        .arg(format!("--port={port}"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    Some(Driver { child, port })
}

async fn browser(driver: &Driver, binary: &std::path::Path) -> Client {
    let options = json!({
        "binary": binary,
        "args": ["--headless=new", "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--window-size=1500,1100",
            "--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-first-run", "--disable-dev-shm-usage"],
    });
    let mut wanted = serde_json::Map::new();
    wanted.insert("goog:chromeOptions".into(), options);
    let until = Instant::now() + Duration::from_secs(30);
    loop {
        let address = format!("http://127.0.0.1:{}", driver.port);
        match ClientBuilder::new(hyper_util::client::legacy::connect::HttpConnector::new())
            .capabilities(wanted.clone())
            .connect(&address)
            .await
        {
            Ok(client) => return client,
            Err(e) => assert!(Instant::now() < until, "no browser: {e}"),
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}

/// A key as it is typed.
pub fn typed(key: Key) -> String {
    char::from(key).to_string()
}

/// The sheet in a browser.
pub struct Page(pub Client);

impl Page {
    pub async fn js(&self, script: &str) -> Value {
        self.0.execute(script, vec![]).await.unwrap()
    }

    /// Waits until a script says true.
    pub async fn until(&self, script: &str) {
        let until = Instant::now() + Duration::from_secs(120);
        while self.js(&format!("return !!({script})")).await != true {
            assert!(
                Instant::now() < until,
                "waited in vain for: {script}\n{}",
                self.js("return document.body.innerText.slice(0, 2000)").await
            );
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    pub async fn text(&self, css: &str) -> String {
        self.0.find(Locator::Css(css)).await.unwrap().text().await.unwrap()
    }

    pub async fn click(&self, css: &str) {
        self.0.find(Locator::Css(css)).await.unwrap().click().await.unwrap();
    }

    /// Chooses of a list; the empty choice before, so that choosing the same once more begins anew.
    pub async fn choose(&self, css: &str, value: &str) {
        let list = self.0.find(Locator::Css(css)).await.unwrap();
        list.select_by_index(0).await.unwrap();
        list.select_by_value(value).await.unwrap();
    }

    pub async fn keys(&self, css: &str, keys: &str) {
        self.0.find(Locator::Css(css)).await.unwrap().send_keys(keys).await.unwrap();
    }

    /// Does something that tilts, and waits for it to be drawn: how long it took until the figures and until the picture, ms.
    pub async fn tilts(&self, css: &str, keys: &str) -> [u64; 2] {
        let before = self.js("return Number(document.getElementById('cast').dataset.tilts || 0)").await;
        if keys.is_empty() {
            self.click(css).await
        } else {
            self.keys(css, keys).await
        }
        // One wait in the page itself: to ask again and again would take of the time that is measured.
        let waits = format!(
            "const done = arguments[0], cast = document.getElementById('cast'); \
             const look = () => {{ if (Number(cast.dataset.tilts) > {before}) {{ done(true); }} }}; \
             new MutationObserver(look).observe(cast, {{ attributes: true }}); look()"
        );
        let _ = self.0.execute_async(&waits, vec![]).await.unwrap();
        let took = self.js("const d = document.getElementById('cast').dataset; return [Number(d.answered), Number(d.drawn)]").await;
        [0, 1].map(|k| took[k].as_f64().unwrap() as u64)
    }

    /// A number that stands for the picture of the cast.
    pub async fn picture(&self) -> Value {
        self.js("let h = 0; for (const c of document.getElementById('cast').toDataURL()) { h = (h * 31 + c.charCodeAt(0)) | 0; } return h").await
    }

    /// Waits until the canvas shows something else than that picture.
    pub async fn until_picture_differs(&self, from: &Value, because: &str) {
        let until = Instant::now() + Duration::from_secs(120);
        while self.picture().await == *from {
            assert!(Instant::now() < until, "waited in vain until {because}");
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }

    /// Waits for a label of the picture; the place in the window that it names.
    pub async fn label(&self, text: &str) -> [f64; 2] {
        let at = format!(
            "const l = [...document.querySelectorAll('#labels span')].find((s) => !s.hidden && s.textContent === '{text}'); \
             const m = l && new DOMMatrix(getComputedStyle(l).transform), b = document.getElementById('cast').getBoundingClientRect(); \
             return l && [b.left + m.e + l.offsetWidth / 2, b.top + m.f + l.offsetHeight / 2]"
        );
        self.until(&format!("(() => {{ {at} }})()")).await;
        let at = self.js(&at).await;
        [0, 1].map(|k| at[k].as_f64().unwrap())
    }

    /// Clicks at a place of the window.
    pub async fn click_at(&self, [x, y]: [f64; 2]) {
        let mouse = MouseActions::new("mouse".into())
            .then(PointerAction::MoveTo { duration: None, x, y })
            .then(PointerAction::Down { button: 0 })
            .then(PointerAction::Up { button: 0 });
        self.0.perform_actions(mouse).await.unwrap();
    }

    /// Presses at a place, moves over others and lets go at the last.
    pub async fn drag(&self, places: &[[f64; 2]]) {
        let mut mouse = MouseActions::new("mouse".into());
        for (n, [x, y]) in places.iter().enumerate() {
            mouse =
                mouse.then(PointerAction::MoveTo { duration: Some(Duration::from_millis(60)), x: *x, y: *y });
            if n == 0 {
                mouse = mouse.then(PointerAction::Down { button: 0 });
            }
        }
        self.0.perform_actions(mouse.then(PointerAction::Up { button: 0 })).await.unwrap();
    }

    pub async fn shot(&self, name: &str) {
        if let Some(dir) = std::env::var_os("SADDLEROOM_SHOTS") {
            fs::create_dir_all(&dir).unwrap();
            fs::write(PathBuf::from(dir).join(name), self.0.screenshot().await.unwrap()).unwrap();
        }
    }
}

/// Does something with a page in a browser of its own; says why not where there is no browser.
pub fn in_a_browser<'w>(work: impl AsyncFnOnce(&Page) + 'w) {
    let Some(binary) = on_path(&["chromium", "chromium-browser", "google-chrome"]) else {
        println!("skipped: the work sheet in a browser: no chromium");
        return;
    };
    let Some(driver) = driver() else {
        println!("skipped: the work sheet in a browser: no chromedriver");
        return;
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let page = Page(browser(&driver, &binary).await);
        // The browser is told to go even where the test fails.
        let told = futures_catch(std::panic::AssertUnwindSafe(work(&page))).await;
        let _ = page.0.clone().close().await;
        if let Err(fault) = told {
            std::panic::resume_unwind(fault);
        }
    });
}

/// Runs a future; a panic inside it comes back as a value.
async fn futures_catch(
    future: std::panic::AssertUnwindSafe<impl std::future::Future<Output = ()>>,
) -> Result<(), Box<dyn std::any::Any + Send>> {
    let mut future = Box::pin(future.0);
    std::future::poll_fn(move |context| {
        match std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| future.as_mut().poll(context))) {
            Ok(std::task::Poll::Ready(())) => std::task::Poll::Ready(Ok(())),
            Ok(std::task::Poll::Pending) => std::task::Poll::Pending,
            Err(fault) => std::task::Poll::Ready(Err(fault)),
        }
    })
    .await
}
