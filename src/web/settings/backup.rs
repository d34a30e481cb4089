//! Backup: one verified file beside the database, and the words on how to bring it back.

use askama::Template;
use axum::http::StatusCode;

use crate::{
    db::backup::{self, BackupError},
    web::{
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page},
    },
};

/// The folder of backups in the data folder.
const FOLDER: &str = "backups";
/// The most backups that the page lists.
const LISTED: usize = 50;

struct Row {
    name: String,
    size: String,
}

#[derive(Template)]
#[template(path = "settings/backup.html")]
struct BackupPage {
    chrome: Chrome,
    rows: Vec<Row>,
    folder: String,
}

/// GET: the backups that there are.
pub async fn get(cx: Cx) -> Answer {
    let folder = cx.app.config().data.join(FOLDER);
    let mut rows = Vec::new();
    if let Ok(mut entries) = tokio::fs::read_dir(&folder).await {
        while let Ok(Some(entry)) = entries.next_entry().await {
            let name = entry.file_name().to_string_lossy().into_owned();
            if name.ends_with(".sqlite") {
                let bytes = entry.metadata().await.map_or(0, |meta| meta.len());
                rows.push(Row {
                    name,
                    size: size_words(bytes),
                });
            }
        }
    }
    rows.sort_by(|a, b| b.name.cmp(&a.name));
    rows.truncate(LISTED);
    let chrome = cx.chrome(Section::Settings, "Backup");
    Ok(page(&BackupPage {
        chrome,
        rows,
        folder: folder.display().to_string(),
    }))
}

fn size_words(bytes: u64) -> String {
    match bytes / 1024 {
        kib @ 0..1024 => format!("{kib} KiB"),
        kib => format!("{}.{} MiB", kib / 1024, kib % 1024 * 10 / 1024),
    }
}

/// POST: makes one now.
pub async fn post(cx: Cx, _form: Form) -> Answer {
    let folder = cx.app.config().data.join(FOLDER);
    let trouble = |why: &dyn std::fmt::Display| {
        Trouble::new(
            StatusCode::INSUFFICIENT_STORAGE,
            format!("No backup was made ({why}). The stock book itself is as it was. Make room, or see that the data folder can be written."),
        )
        .or_go(Link::Backup, "Back to the backups")
    };
    tokio::fs::create_dir_all(&folder)
        .await
        .map_err(|why| trouble(&why))?;
    let target = folder.join(format!(
        "{}-{}.sqlite",
        cx.today,
        cx.app.clock().now_ms() / 1000
    ));
    match backup::make(cx.db().file(), &target).await {
        Ok(made) => Ok(go_with(
            &Link::Backup,
            &Flash::good(format!(
                "A backup of {} movements is made and checked ({}). Copy it to another disk.",
                made.movements,
                size_words(made.bytes)
            )),
        )),
        Err(BackupError::Exists(_)) => Ok(go_with(
            &Link::Backup,
            &Flash::warn("A backup was made a moment ago; that one is kept."),
        )),
        Err(why) => Err(trouble(&why)),
    }
}
