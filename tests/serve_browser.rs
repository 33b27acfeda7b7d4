//! The work sheet in a browser: opened, tilted, read, marked, saved, loaded again, exported. Skipped where no browser is.

#![allow(clippy::print_stdout, clippy::unwrap_used)] // a test may fail loudly anywhere

mod serving;

use std::fs;

use fantoccini::key::Key;
use serde_json::json;
use serving::browser::{Page, in_a_browser, typed};
use serving::{Served, case, checked};

#[test]
fn the_sheet_is_worked_on_in_a_browser() {
    in_a_browser(worked_on);
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
    page.click_at(page.label("35").await).await;
    page.until("document.getElementById('point-out').textContent.includes('35')").await;
    assert!(page.text("#point-out").await.contains("to the opposing arch"));
    page.until("document.querySelector('#section svg')").await;
    // Another place by the keyboard alone: its distance from the one before.
    page.keys("#place", &format!("26.379, -34.967, -0.808{}", typed(Key::Enter))).await;
    page.until("document.getElementById('apart-out').textContent.includes('straight: ')").await;
    page.shot("point.png").await;
}

async fn marked(page: &Page) {
    page.keys("#mark-what", "the place of the").await;
    page.until("!document.getElementById('along-box').hidden").await;
    page.keys("#along", &typed(Key::Right).repeat(3)).await;
    page.click("#mark-set").await;
    page.until("document.getElementById('mark-list').textContent.includes('place of attachment 1')").await;
    changed(page, "place of the attachment").await;
    assert!(page.text("#changes-list").await.contains("rigid body"), "{}", page.text("#changes-list").await);
    page.shot("marked.png").await;
    page.click("#undo").await;
    page.until("!document.getElementById('mark-list').textContent.includes('attachment')").await;
    page.click("#redo").await;
    page.until("document.getElementById('mark-list').textContent.includes('place of attachment 1')").await;
    page.until("document.body.dataset.busy === 'no'").await;
    dragged(page).await;
    every_kind(page).await;
    assert_eq!(page.js("return window.broken").await, json!([]), "the page broke a rule of its own");
}

/// Waits until the findings belong to a mark.
async fn changed(page: &Page, because: &str) {
    page.until(&format!(
        "document.getElementById('changes-why').textContent.includes('{because}') && document.body.dataset.busy === 'no'"
    ))
    .await;
}

/// The attachment is taken with the mouse and let go farther back: the mark follows the crest.
async fn dragged(page: &Page) {
    page.choose("#mark-what", "attachment").await;
    page.js("window.scrollTo(0, 0)").await;
    let from = page.label("attachment").await;
    let before = page.js("return document.getElementById('along').value").await;
    // In the view from above and in front the crest runs upwards in the picture, away from the front teeth.
    page.drag(&[from, [from[0], from[1] - 10.0], [from[0], from[1] - 30.0]]).await;
    let after = page.js("return document.getElementById('along').value").await;
    let number = |v: &serde_json::Value| v.as_str().unwrap().parse::<f64>().unwrap();
    assert!(number(&after) > number(&before), "{before} {after}");
    page.shot("dragged.png").await;
    let told = page.js("return document.getElementById('changes-list').textContent").await;
    page.click("#mark-set").await;
    // The same kind of mark as before: what it changed is another list.
    page.until(&format!("document.getElementById('changes-list').textContent !== {told} && document.body.dataset.busy === 'no'")).await;
    assert!(!page.text("#mark-list").await.contains("place of attachment 2"), "moved, not added");
}

/// Every other kind of mark: by the mouse where a tooth is pointed at, by its place else.
async fn every_kind(page: &Page) {
    page.js("window.scrollTo(0, 0)").await;
    page.choose("#mark-what", "occlusal_plane").await;
    for tooth in ["35", "41", "46"] {
        let before = page.text("#mark-so-far").await;
        page.click_at(page.label(tooth).await).await;
        page.until(&format!("document.getElementById('mark-so-far').textContent !== {}", json!(before)))
            .await;
    }
    page.click("#mark-set").await;
    changed(page, "occlusal plane marked").await;

    let torus = ["-9.0, -14.0, -14.0", "-9.5, -18.0, -15.0", "-9.5, -16.0, -18.0"];
    let margin = [
        "17.971, -13.153, -7.397",
        "19.870, -10.393, -7.751",
        "16.365, -7.187, -5.594",
        "13.485, -8.876, -3.353",
    ];
    let crest = ["-22.5, -22.4, -9.0", "-24.2, -27.2, -9.8", "-26.2, -35.0, -8.1"];
    let kinds: [(&str, &[&str], &str); 6] = [
        ("tooth", &["16.506, -10.573, -0.645"], "point on 44 marked"),
        ("crest", &crest, "crest line marked"),
        ("margin", &margin, "gingival margin of 44 marked"),
        ("torus", &torus, "outline of a torus marked"),
        ("torus_at", &torus[..1], "place of a torus marked"),
        ("clasp_tip", &["24.0, -20.2, -5.0"], "marked"),
    ];
    for (kind, places, because) in kinds {
        page.choose("#mark-what", kind).await;
        for (n, place) in places.iter().enumerate() {
            page.js("document.getElementById('place').value = ''").await;
            page.keys("#place", &format!("{place}{}", typed(Key::Enter))).await;
            let many = if n == 0 { "1 point".into() } else { format!("{} points", n + 1) };
            page.until(&format!(
                "document.getElementById('mark-so-far').textContent.includes('{many} so far')"
            ))
            .await;
        }
        if kind == "margin" {
            page.choose("#mark-tooth", "44").await;
        }
        page.keys("#mark-set", &typed(Key::Enter)).await;
        page.until(&format!("document.getElementById('undo').title.includes('{because}')")).await;
    }
    page.js("document.querySelector('#abutment-list input[value=\"46\"]').focus()").await;
    page.keys("#abutment-list input[value=\"46\"]", " ").await;
    page.keys("#abutment-form button", &typed(Key::Enter)).await;
    page.until("document.getElementById('undo').title.includes('abutments chosen')").await;
    page.until("document.body.dataset.busy === 'no'").await;
    assert_eq!(page.text("#trouble").await, "", "a mark was refused");
    page.js("window.scrollTo(0, 0); document.getElementById('show-opposing').click()").await;
    page.until("document.getElementById('show-opposing').checked").await;
    let bare = page.picture().await;
    page.until_picture_differs(&bare, "the opposing arch is drawn").await;
    assert_eq!(page.text("#opposing-says").await, "", "the opposing arch is drawn and refused");
    page.shot("every-mark.png").await;
    page.js("document.getElementById('show-opposing').click()").await;
    // Back to the one mark that is saved.
    for _ in 0..8 {
        page.click("#undo").await;
        page.until("document.getElementById('undo').title !== ''").await;
    }
    changed(page, "place of the attachment").await;
}
