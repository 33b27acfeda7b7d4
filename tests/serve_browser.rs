//! The work sheet in a browser: opened, tilted, read, marked, saved, loaded again, exported. Skipped where no browser is.

#![allow(clippy::print_stdout, clippy::unwrap_used)] // a test may fail loudly anywhere

mod serving;

use std::fs;
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, MouseActions, PointerAction};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use serde_json::{Value, json};
use serving::{Served, case, checked};

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
fn typed(key: Key) -> String {
    char::from(key).to_string()
}

/// The sheet in a browser.
struct Page(Client);

impl Page {
    async fn js(&self, script: &str) -> Value {
        self.0.execute(script, vec![]).await.unwrap()
    }

    /// Waits until a script says true.
    async fn until(&self, script: &str) {
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

    async fn text(&self, css: &str) -> String {
        self.0.find(Locator::Css(css)).await.unwrap().text().await.unwrap()
    }

    async fn click(&self, css: &str) {
        self.0.find(Locator::Css(css)).await.unwrap().click().await.unwrap();
    }

    async fn keys(&self, css: &str, keys: &str) {
        self.0.find(Locator::Css(css)).await.unwrap().send_keys(keys).await.unwrap();
    }

    /// Does something that tilts, and waits for it to be drawn: how long it took until the figures and until the picture, ms.
    async fn tilts(&self, css: &str, keys: &str) -> [u64; 2] {
        let before = self.js("return Number(document.getElementById('cast').dataset.tilts || 0)").await;
        if keys.is_empty() {
            self.click(css).await
        } else {
            self.keys(css, keys).await
        }
        self.until(&format!("Number(document.getElementById('cast').dataset.tilts) > {before}")).await;
        let took = self.js("const d = document.getElementById('cast').dataset; return [Number(d.answered), Number(d.drawn)]").await;
        [0, 1].map(|k| took[k].as_f64().unwrap() as u64)
    }

    /// A number that stands for the picture of the cast.
    async fn picture(&self) -> Value {
        self.js("let h = 0; for (const c of document.getElementById('cast').toDataURL()) { h = (h * 31 + c.charCodeAt(0)) | 0; } return h").await
    }

    /// Clicks at a place of the window.
    async fn click_at(&self, place: &Value) {
        let (x, y) = (place[0].as_f64().unwrap(), place[1].as_f64().unwrap());
        let mouse = MouseActions::new("mouse".into())
            .then(PointerAction::MoveTo { duration: None, x, y })
            .then(PointerAction::Down { button: 0 })
            .then(PointerAction::Up { button: 0 });
        self.0.perform_actions(mouse).await.unwrap();
    }

    async fn shot(&self, name: &str) {
        if let Some(dir) = std::env::var_os("SADDLEROOM_SHOTS") {
            fs::create_dir_all(&dir).unwrap();
            fs::write(PathBuf::from(dir).join(name), self.0.screenshot().await.unwrap()).unwrap();
        }
    }
}

#[test]
fn the_sheet_is_worked_on_in_a_browser() {
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
        let tested = worked_on(&page);
        // The browser is told to go even where the test fails.
        let told = std::panic::AssertUnwindSafe(tested);
        let told = futures_catch(told).await;
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

async fn worked_on(page: &Page) {
    let folder = case("oban");
    let file = folder.path().join("case.toml");
    let before = fs::read_to_string(&file).unwrap();
    let served = Served::start(folder.path(), &["case.toml"]);
    page.0.goto(&served.address).await.unwrap();
    // What breaks the page's own rules is written down by the page.
    page.js("window.broken = []; addEventListener('securitypolicyviolation', (e) => window.broken.push(e.violatedDirective)); \
             addEventListener('error', (e) => window.broken.push(e.message)); addEventListener('unhandledrejection', (e) => window.broken.push(String(e.reason)))").await;
    assert!(
        !page.0.current_url().await.unwrap().as_str().contains("token"),
        "the token stays in the address"
    );
    page.until("document.body.dataset.edition && document.getElementById('cast').dataset.tilts").await;
    page.until("document.querySelectorAll('#findings-list li').length > 10").await;
    page.shot("opened.png").await;

    tilted(page).await;
    pointed(page).await;
    marked(page).await;

    // Saved with its comments; loaded again with its marks; exported as the command line writes it.
    page.click("#save").await;
    page.until("document.getElementById('saved').textContent.startsWith('All is saved')").await;
    let after = fs::read_to_string(&file).unwrap();
    assert!(
        after != before
            && after.contains("# the arch that gets the denture")
            && after.contains("attachment_at")
    );
    page.0.refresh().await.unwrap();
    page.until("document.body.dataset.edition && document.body.dataset.busy === 'no'").await;
    assert!(page.text("#mark-list").await.contains("place of attachment 1"));
    let out = checked(folder.path(), &["case.toml"]);
    let exported = page
        .0
        .execute_async(
            "const done = arguments[0]; fetch('/report.html').then((r) => r.text()).then(done)",
            vec![],
        )
        .await
        .unwrap();
    assert!(
        exported.as_str().unwrap().as_bytes() == fs::read(out.join("report.html")).unwrap(),
        "another page"
    );

    // A file changed meanwhile is a question on the page.
    fs::write(&file, format!("# by another\n{after}")).unwrap();
    page.click("#save").await;
    page.until("!document.getElementById('conflict').hidden").await;
    page.shot("conflict.png").await;
    page.click("#conflict-leave").await;
    assert!(fs::read_to_string(&file).unwrap().starts_with("# by another"));
}

async fn tilted(page: &Page) {
    let (table, picture) = (page.text("#table").await, page.picture().await);
    let right = typed(Key::Right);
    let up = typed(Key::Up);
    let mut times = vec![page.tilts("#anterior", &right.repeat(8)).await];
    page.until("document.getElementById('tilt-words').textContent.includes('4.0° toward anterior')").await;
    times.push(page.tilts("#cast", &up).await);
    page.until("document.getElementById('tilt-words').textContent.includes('4.5° toward anterior')").await;
    assert_ne!(page.text("#table").await, table);
    assert_ne!(page.picture().await, picture);
    page.click("#keep").await;
    times.push(page.tilts("#map", &up).await);
    times.push(page.tilts("#map", "").await);
    page.until("document.querySelectorAll('#compared-table tbody tr').length >= 8").await;
    page.shot("two-tilts.png").await;
    times.push(page.tilts("#found", "").await);
    assert_eq!(page.text("#table").await, table, "back to the found path");
    page.click("#putaway").await;
    println!("tilts, ms from the input to the figures and to the picture: {times:?}");
}

async fn pointed(page: &Page) {
    // The picture has taken its new size once two frames have passed.
    page.js("window.scrollTo(0, 0); window.passed = 0; requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(() => { window.passed = 1; }, 200)))").await;
    page.until("window.passed").await;
    let at = page.js("const l = [...document.querySelectorAll('#labels span')].find((s) => s.textContent === '35').getBoundingClientRect(); \
                      return [l.left + l.width / 2, l.top + l.height / 2]").await;
    page.click_at(&at).await;
    page.until("document.getElementById('point-out').textContent.includes('35')").await;
    assert!(page.text("#point-out").await.contains("to the opposing arch"));
    page.until("document.querySelector('#section svg')").await;
    // Another place by the keyboard alone: its distance from the one before.
    page.keys("#place", &format!("26.379, -34.967, -0.808{}", typed(Key::Enter))).await;
    page.until("document.getElementById('apart-out').textContent.includes('straight: ')").await;
    page.shot("point.png").await;
}

async fn marked(page: &Page) {
    page.keys("#mark-what", "the place of").await;
    page.until("!document.getElementById('along-box').hidden").await;
    page.keys("#along", &typed(Key::Right).repeat(3)).await;
    page.click("#mark-set").await;
    page.until("document.getElementById('mark-list').textContent.includes('place of attachment 1')").await;
    page.until("document.getElementById('changes-why').textContent.includes('place of the attachment') && document.body.dataset.busy === 'no'").await;
    assert!(page.text("#changes-list").await.contains("rigid body"), "{}", page.text("#changes-list").await);
    page.shot("marked.png").await;
    page.click("#undo").await;
    page.until("!document.getElementById('mark-list').textContent.includes('attachment')").await;
    page.click("#redo").await;
    page.until("document.getElementById('mark-list').textContent.includes('place of attachment 1')").await;
    page.until("document.body.dataset.busy === 'no'").await;
    assert_eq!(page.js("return window.broken").await, json!([]), "the page broke a rule of its own");
}
