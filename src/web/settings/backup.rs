//! Backup: one verified file beside the database, and the words on how to bring it back.

use askama::Template;
use axum::{
    body::Body,
    http::{StatusCode, header},
    response::IntoResponse as _,
};
use futures_util::stream;
use tokio::{fs::File, io::AsyncReadExt as _};

use crate::{
    backups::FOLDER,
    db::{
        archive::{self, ArchiveError},
        backup::{self, BackupError},
        restore,
    },
    web::{
        at::Path,
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Chrome, Flash, Section, go_with, page_with},
        settings::import,
    },
};

/// How much of a file is sent at once, in bytes.
const CHUNK: usize = 64 * 1024;
/// The most backups that the page lists.
const LISTED: usize = 50;

struct Row {
    href: Link,
    /// A book's whole copy, which can be restored; else an export.
    whole: bool,
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
    /// Whether archives are taken here; the worked sample takes none.
    imports: bool,
    import_mib: u64,
    form: Form,
}

/// GET: the backups that there are.
pub async fn get(cx: Cx) -> Answer {
    show(&cx, Form::default()).await
}

/// The page, with what is wrong with an archive that was sent.
pub(super) async fn show(cx: &Cx, form: Form) -> Answer {
    let folder = cx.app.config().data.join(FOLDER);
    let mut rows = Vec::new();
    if let Ok(mut entries) = tokio::fs::read_dir(&folder).await {
        while let Ok(Some(entry)) = entries.next_entry().await {
            let name = entry.file_name().to_string_lossy().into_owned();
            if ours(&name) {
                let bytes = entry.metadata().await.map_or(0, |meta| meta.len());
                rows.push(Row {
                    href: Link::BackupFile(name.clone()),
                    whole: name.ends_with(".sqlite"),
                    name,
                    size: size_words(bytes),
                });
            }
        }
    }
    rows.sort_by(|a, b| b.name.cmp(&a.name));
    rows.truncate(LISTED);
    let chrome = cx.chrome(Section::Settings, "Backup");
    let status = if form.ok() {
        StatusCode::OK
    } else {
        StatusCode::UNPROCESSABLE_ENTITY
    };
    let shown = BackupPage {
        chrome,
        every_hours: cx.app.config().backups.every_hours,
        kept: cx.app.config().backups.kept,
        rows,
        folder: folder.display().to_string(),
        imports: !cx.app.config().within,
        import_mib: import::ARCHIVE_BYTES / (1024 * 1024),
        form,
    };
    Ok(page_with(status, &shown))
}

fn size_words(bytes: u64) -> String {
    match bytes / 1024 {
        kib @ 0..1024 => format!("{kib} KiB"),
        kib => format!("{}.{} MiB", kib / 1024, kib % 1024 * 10 / 1024),
    }
}

/// Whether a name is one that we give to a backup or an export: never a path to anything else.
fn ours(name: &str) -> bool {
    let stem = name.strip_suffix(".sqlite").or(name.strip_suffix(".zip"));
    stem.is_some_and(|stem| {
        let plain = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-';
        !stem.is_empty() && stem.bytes().all(plain)
    })
}

/// GET: a backup or an export, to keep elsewhere.
pub async fn file(cx: Cx, Path(name): Path<String>) -> Answer {
    let missing = || Trouble::not_found("backup").or_go(Link::Backup, "Back to the backups");
    if !ours(&name) {
        return Err(missing());
    }
    let path = cx.app.config().data.join(FOLDER).join(&name);
    let file = File::open(path).await.map_err(|_| missing())?;
    let size = file.metadata().await.map_err(|_| missing())?.len();
    let chunks = stream::try_unfold(file, |mut file| async move {
        let mut chunk = vec![0; CHUNK];
        let read = file.read(&mut chunk).await?;
        chunk.truncate(read);
        Ok::<_, std::io::Error>((read > 0).then_some((chunk, file)))
    });
    let kind = match name.strip_suffix(".zip") {
        Some(_) => "application/zip",
        None => "application/vnd.sqlite3",
    };
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_LENGTH, size.to_string()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"tapewright-{name}\""),
        ),
    ];
    Ok((headers, Body::from_stream(chunks)).into_response())
}

/// Brings a backup of the list back into a folder of its own, beside the backups.
async fn bring_back(cx: &Cx, name: &str) -> Answer {
    let Some(stem) = name.strip_suffix(".sqlite").filter(|_| ours(name)) else {
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

/// POST: makes one now, exports, or brings one back.
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
    let stem = format!("{}-{}", cx.today, cx.app.clock().now_ms() / 1000);
    if form.has("export") {
        let target = folder.join(format!("export-{stem}.zip"));
        return match archive::write(cx.db().file(), &target, &cx.today.to_string()).await {
            Ok(written) => Ok(go_with(
                &Link::Backup,
                &Flash::good(format!(
                    "The whole book is exported: {} rows ({}). Fetch it from the list.",
                    written.rows,
                    size_words(written.bytes)
                )),
            )),
            Err(ArchiveError::Exists(_)) => Ok(go_with(
                &Link::Backup,
                &Flash::warn("An export was made a moment ago; that one is kept."),
            )),
            Err(why) => Err(trouble(&why)),
        };
    }
    let target = folder.join(format!("{stem}.sqlite"));
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
