//! An archive sent to the page: the same book in a folder of its own, or a reason and nothing.

use std::{io::ErrorKind, path::Path, time::Duration};

use tapewright::{db::Db, model::person::Role, sample, stock};
use tokio::{
    io::{AsyncReadExt as _, AsyncWriteExt as _},
    net::TcpStream,
};

use crate::{
    archive::{entries, rows, zipped},
    help::{Browser, Page, TestApp},
};

const PAGE: &str = "/settings/backup/import";

/// Sends a file as the form of the page would.
async fn send(browser: &Browser, file: &[u8]) -> Page {
    let mut body = b"--edge\r\nContent-Disposition: form-data; name=\"archive\"; \
        filename=\"book.zip\"\r\nContent-Type: application/zip\r\n\r\n"
        .to_vec();
    body.extend(file);
    body.extend(b"\r\n--edge--\r\n");
    let headers = [("content-type", "multipart/form-data; boundary=edge")];
    browser.request("POST", PAGE, &headers, body).await
}

/// Exports the book by the page: the archive.
async fn export(app: &TestApp) -> Vec<u8> {
    let made = app.post("/settings/backup", &[("export", "1")]).await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    let page = app.follow(&made).await;
    let name = page.texts("ul.rows a").remove(0);
    std::fs::read(app.folder().join("data/backups").join(name)).unwrap()
}

/// What stands in the folder of imported books.
fn imported(app: &TestApp) -> Vec<String> {
    let folder = app.folder().join("data/imported");
    match std::fs::read_dir(folder) {
        Ok(entries) => entries
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect(),
        Err(why) if why.kind() == ErrorKind::NotFound => Vec::new(),
        Err(why) => panic!("{why}"),
    }
}

/// The files of a folder.
fn files(folder: &Path) -> Vec<String> {
    std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.ends_with("-wal") && !name.ends_with("-shm"))
        .collect()
}

/// A connection on which the head of such a request was sent, with this many bytes to follow.
async fn begun(app: &TestApp, bytes: usize) -> TcpStream {
    let host = app.base().trim_start_matches("http://");
    let mut stream = TcpStream::connect(host).await.unwrap();
    let head = format!(
        "POST {PAGE} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\
         Content-Type: multipart/form-data; boundary=edge\r\nContent-Length: {bytes}\r\n\r\n"
    );
    stream.write_all(head.as_bytes()).await.unwrap();
    stream
}

#[tokio::test]
async fn an_archive_comes_back_as_the_same_book_in_a_folder_of_its_own() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let archive = export(&app).await;
    let before = rows(app.db().file()).await;
    for folder in ["2026-03-05-1", "2026-03-05-2"] {
        let sent = send(&app, &archive).await;
        assert_eq!(sent.status, 303, "{}", sent.text("main"));
        let page = app.follow(&sent).await;
        let said = page.text("#flash");
        let folder = app.folder().join("data/imported").join(folder);
        assert!(
            said.contains(&folder.display().to_string()) && said.contains("--data"),
            "{said}"
        );
        assert_eq!(files(&folder), [Db::FILE], "nothing but the book stays");
        let again = rows(&folder.join(Db::FILE)).await;
        for (table, rows) in &before {
            assert_eq!(rows, &again[table], "{table}");
        }
        let db = Db::open(&folder).await.unwrap();
        let found = stock::audit::audit(&db).await.unwrap();
        assert!(found.is_empty(), "{found:?}");
        db.close().await;
    }
    // The book that is served is as it was.
    assert_eq!(rows(app.db().file()).await, before);
}

#[tokio::test]
async fn what_cannot_be_imported_says_why_at_the_field_and_leaves_nothing() {
    let app = TestApp::new().await;
    assert!(sample::fill(app.db(), app.clock()).await.unwrap());
    let whole = export(&app).await;
    let file = app.folder().join("whole.zip");
    std::fs::write(&file, &whole).unwrap();
    let inside = entries(&file);
    let changed = |name: &str, change: &dyn Fn(String) -> String| {
        let mut inside = inside.clone();
        let text = String::from_utf8(inside[name].clone()).unwrap();
        inside.insert(name.to_owned(), change(text).into_bytes());
        let file = app.folder().join("changed.zip");
        zipped(&file, &inside);
        std::fs::read(file).unwrap()
    };
    for (bytes, said) in [
        (Vec::new(), "No file was chosen"),
        (b"not a zip at all".to_vec(), "no whole zip file"),
        (whole[..whole.len() / 2].to_vec(), "no whole zip file"),
        (
            changed("archive.json", &|text| {
                text.replace("tapewright archive", "pictures")
            }),
            "something else",
        ),
        (
            changed("archive.json", &|text| {
                text.replacen("\"schema_step\": ", "\"schema_step\": 9", 1)
            }),
            "newer Tapewright",
        ),
        (
            changed("data/bar.jsonl", &|text| text.replacen('{', "[", 1)),
            "line 1 of data/bar.jsonl",
        ),
        (
            changed("data/balance.jsonl", &|text| {
                let rest = text.find("\"amount\":").unwrap() + 9;
                let sign = usize::from(text.as_bytes()[rest] == b'-');
                let (before, after) = text.split_at(rest + sign);
                format!("{before}1{after}")
            }),
            "does not agree with itself",
        ),
    ] {
        let page = send(&app, &bytes).await;
        assert_eq!(page.status, 422, "{said}: {}", page.text("main"));
        let error = page.text("#archive-error");
        assert!(error.contains(said), "{said}: {error}");
        let folder = app.folder().display().to_string();
        assert!(!error.contains(&folder), "no path: {error}");
        assert_eq!(page.count("#archive[aria-invalid]"), 1);
        assert_eq!(imported(&app), [""; 0], "{said}");
    }
    let page = app.post(PAGE, &[("archive", "x")]).await;
    assert_eq!(page.status, 415);
    assert_eq!(imported(&app), [""; 0]);
}

#[tokio::test]
async fn an_archive_that_is_too_large_is_refused_before_it_is_stored() {
    let app = TestApp::new().await;
    let mut stream = begun(&app, 300 * 1024 * 1024).await;
    // As much as is read and thrown away, so that a browser sees the answer.
    let chunk = vec![0; 1024 * 1024];
    for _ in 0..64 {
        stream.write_all(&chunk).await.unwrap();
    }
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer).await;
    let answer = String::from_utf8_lossy(&answer);
    assert!(answer.starts_with("HTTP/1.1 413"), "{answer}");
    assert!(answer.contains("larger than 256 MiB"), "{answer}");
    assert_eq!(imported(&app), [""; 0]);
}

#[tokio::test]
async fn a_connection_that_breaks_while_an_archive_is_sent_leaves_nothing() {
    let app = TestApp::new().await;
    let mut stream = begun(&app, 1_000_000).await;
    let part =
        b"--edge\r\nContent-Disposition: form-data; name=\"archive\"; filename=\"a.zip\"\r\n\r\nPK";
    stream.write_all(part).await.unwrap();
    let wait = async |there: bool| {
        for _ in 0..400 {
            if imported(&app).is_empty() != there {
                return;
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        panic!("imported: {:?}", imported(&app));
    };
    wait(true).await;
    drop(stream);
    wait(false).await;
}

#[tokio::test]
async fn only_keepers_import_and_the_worked_sample_takes_nothing() {
    let app = TestApp::guarded().await;
    app.add_person("Lou", Role::Look).await;
    app.add_person("Wim", Role::Work).await;
    for name in ["Lou", "Wim"] {
        let other = app.other_browser();
        other.sign_in(name).await;
        assert_eq!(send(&other, b"PK").await.status, 403, "{name}");
        assert_eq!(other.get("/settings/backup").await.status, 403);
    }
    let nobody = send(&app.other_browser(), b"PK").await;
    assert!([303, 401].contains(&nobody.status), "{}", nobody.status);
    assert_eq!(imported(&app), [""; 0]);
    // A keeper's is looked at.
    app.sign_in(crate::help::KEEPER).await;
    assert_eq!(app.get("/settings/backup").await.count("#import form"), 1);
    assert_eq!(send(&app, b"PK").await.status, 422);

    let made = app.post("/sample-book", &[("do", "open")]).await;
    assert_eq!(made.status, 303, "{}", made.text("main"));
    let page = app.get("/sample/settings/backup").await;
    assert_eq!((page.status, page.count("#import")), (200, 0));
    let headers = [("content-type", "multipart/form-data; boundary=edge")];
    let to = format!("/sample{PAGE}");
    let refused = app
        .request("POST", to, &headers, b"--edge--\r\n".to_vec())
        .await;
    assert_eq!(refused.status, 403, "{}", refused.text("main"));
    assert!(refused.text("main").contains("sample takes no archives"));
}
