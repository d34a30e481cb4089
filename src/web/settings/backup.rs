//! Backup: one verified file beside the database, and the words on how to bring it back.

use askama::Template;
use axum::http::StatusCode;

use crate::{
    backups::FOLDER,
    db::{
        backup::{self, BackupError},
        restore,
    },
    web::{
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page},
    },
};

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
    /// Hours from one backup to the next that is made by itself; 0: none are.
    every_hours: u32,
    kept: u16,
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
        every_hours: cx.app.config().backups.every_hours,
        kept: cx.app.config().backups.kept,
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

/// Brings a backup of the list back into a folder of its own, beside the backups.
async fn bring_back(cx: &Cx, name: &str) -> Answer {
    let plain = name.strip_suffix(".sqlite").filter(|stem| {
        !stem.is_empty()
            && stem
                .bytes()
                .all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
    });
    let Some(stem) = plain else {
        return Err(Trouble::not_found("backup").or_go(Link::Backup, "Back to the backups"));
    };
    let data = &cx.app.config().data;
    let folder = data.join("restored").join(stem);
    match restore::restore(&data.join(FOLDER).join(name), &folder).await {
        Ok(done) => Ok(go_with(
            &Link::Backup,
            &Flash::good(format!(
                "The backup is restored into {} and checked: {} movements. This book is as it was. To \
                 use the restored one, stop Tapewright and start it with --data and that folder.",
                folder.display(),
                done.movements
            )),
        )),
        Err(why) => Err(Trouble::new(StatusCode::CONFLICT, why.to_string())
            .or_go(Link::Backup, "Back to the backups")),
    }
}

/// POST: makes one now, or brings one back.
pub async fn post(cx: Cx, form: Form) -> Answer {
    if form.has("restore") {
        return bring_back(&cx, form.value("restore")).await;
    }
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
