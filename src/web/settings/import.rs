//! An archive that is brought back from the page: sent into a file, read into a folder of its own beside
//! the backups, never over a book that is there.

use std::{
    io,
    path::{Path, PathBuf},
    time::Duration,
};

use axum::{
    extract::{
        FromRequest as _, Multipart, Request,
        multipart::{Field, MultipartError},
    },
    http::{StatusCode, header},
};
use tokio::{io::AsyncWriteExt as _, runtime::Handle, sync::Semaphore};

use super::backup::show;
use crate::{
    db::{
        archive::{self, ArchiveError},
        restore::{RestoreError, Restored},
    },
    web::{
        cx::Cx,
        error::{Answer, Trouble},
        form::Form,
        link::Link,
        page::{Flash, go_with},
    },
};

/// The address it is sent to.
pub const ROUTE: &str = "/settings/backup/import";
/// The most bytes of an archive.
pub const ARCHIVE_BYTES: u64 = 256 * 1024 * 1024;
/// The most that the form carries: the archive, and what stands round it.
pub const BODY_LIMIT: usize = 257 * 1024 * 1024;
/// How long sending and reading may take together.
pub const TIME_LIMIT: Duration = Duration::from_mins(15);
/// How long reading alone may take.
const READ_LIMIT: Duration = Duration::from_mins(10);
/// The folder of imported books in the data folder.
const FOLDER: &str = "imported";
/// The archive's name while it is read.
const SENT: &str = "archive.zip";

/// Reading an archive keeps the disk busy: one at a time.
static READING: Semaphore = Semaphore::const_new(1);

/// A folder for the book; it goes again, with all that is in it, unless it is kept.
struct NewFolder {
    path: PathBuf,
    kept: bool,
}

impl NewFolder {
    /// The first of this day that is not there yet.
    async fn make(within: &Path, day: &str) -> io::Result<Self> {
        tokio::fs::create_dir_all(within).await?;
        let mut number = 1;
        loop {
            let path = within.join(format!("{day}-{number}"));
            match tokio::fs::create_dir(&path).await {
                Ok(()) => return Ok(Self { path, kept: false }),
                Err(why) if why.kind() == io::ErrorKind::AlreadyExists => number += 1,
                Err(why) => return Err(why),
            }
        }
    }

    fn sent(&self) -> PathBuf {
        self.path.join(SENT)
    }
}

impl Drop for NewFolder {
    fn drop(&mut self) {
        if self.kept {
            return;
        }
        if let Err(why) = std::fs::remove_dir_all(&self.path) {
            tracing::error!(%why, folder = %self.path.display(), "the remains of an import stay");
        }
        // Only where it is empty.
        if let Some(parent) = self.path.parent() {
            let _ = std::fs::remove_dir(parent);
        }
    }
}

/// Why an archive did not arrive.
#[derive(Debug)]
enum Lost {
    /// The browser's side.
    Sent(MultipartError),
    /// Ours.
    Disk(io::Error),
}

fn disk(why: &dyn std::fmt::Display) -> Trouble {
    tracing::error!(%why, "an archive could not be imported");
    Trouble::new(
        StatusCode::INSUFFICIENT_STORAGE,
        "The archive could not be brought back on this machine; its log says why. Nothing of it was kept, \
         and this book is as it was. Make room, or see that the data folder can be written, and send it \
         again.",
    )
    .or_go(Link::Backup, "Back to the backups")
}

/// Stores a file as it comes: how many bytes.
async fn store(field: &mut Field<'_>, file: &Path) -> Result<u64, Lost> {
    let mut to = tokio::fs::File::create(file).await.map_err(Lost::Disk)?;
    let mut bytes = 0;
    while let Some(chunk) = field.chunk().await.map_err(Lost::Sent)? {
        bytes += chunk.len() as u64;
        to.write_all(&chunk).await.map_err(Lost::Disk)?;
    }
    to.flush().await.map_err(Lost::Disk)?;
    Ok(bytes)
}

/// Stores the archive of a form: how many bytes, 0 where none was chosen.
async fn receive(parts: &mut Multipart, file: &Path) -> Result<u64, Lost> {
    let mut bytes = 0;
    while let Some(mut field) = parts.next_field().await.map_err(Lost::Sent)? {
        if field.name() == Some("archive") {
            bytes = store(&mut field, file).await?;
        }
    }
    Ok(bytes)
}

async fn refuse(cx: &Cx, status: StatusCode, why: &str) -> Answer {
    let mut form = Form::default();
    form.fail("archive", why);
    let mut answer = show(cx, form).await?;
    *answer.status_mut() = status;
    Ok(answer)
}

async fn too_large(cx: &Cx) -> Answer {
    let why = format!(
        "This archive is larger than {} MiB. Nothing was imported. Import it on the machine itself: \
         tapewright import FILE --data NEWFOLDER.",
        ARCHIVE_BYTES / (1024 * 1024)
    );
    refuse(cx, StatusCode::PAYLOAD_TOO_LARGE, &why).await
}

/// What is wrong with the archive itself; `None` where it is not the archive that is at fault.
fn fault(why: &ArchiveError) -> Option<String> {
    Some(match why {
        ArchiveError::Unreadable { why, .. } => format!(
            "This file is not an archive that can be read: {why} Nothing was imported. Fetch the export \
             again where it was made, or choose another file."
        ),
        ArchiveError::Newer { step, .. } => format!(
            "This archive was written by a newer Tapewright (schema step {step}). Nothing was imported. \
             Import it with that one."
        ),
        ArchiveError::Restore(RestoreError::Unsound(fault)) => format!(
            "The book in this archive does not agree with itself, so nothing was imported. First fault: \
             {fault}"
        ),
        _ => return None,
    })
}

/// Reads what was sent into its folder. It is not called off when whoever sent it leaves: it ends with a
/// whole book or with nothing.
async fn read(mut new: NewFolder) -> Result<Option<Restored>, ArchiveError> {
    let _turn = READING.acquire().await;
    let sent = new.sent();
    match tokio::time::timeout(READ_LIMIT, archive::read(&sent, &new.path)).await {
        Ok(Ok(book)) => {
            new.kept = true;
            if let Err(why) = tokio::fs::remove_file(&sent).await {
                tracing::warn!(%why, file = %sent.display(), "an archive that was read stays");
            }
            Ok(Some(book))
        }
        Ok(Err(why)) => Err(why),
        Err(_) => Ok(None),
    }
}

/// POST: an archive.
pub async fn post(cx: Cx, request: Request) -> Answer {
    let config = cx.app.config();
    if config.within {
        return Err(Trouble::new(
            StatusCode::FORBIDDEN,
            "The worked sample takes no archives. Nothing was imported. Import it in your own book.",
        )
        .or_go(Link::Backup, "Back to the backups"));
    }
    let told = request.headers().get(header::CONTENT_LENGTH);
    let told = told.and_then(|told| told.to_str().ok()?.parse::<u64>().ok());
    if told.is_some_and(|told| told > BODY_LIMIT as u64) {
        return too_large(&cx).await;
    }
    let Ok(mut parts) = Multipart::from_request(request, &()).await else {
        return Err(Trouble::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "An archive is sent by the form of the page. Nothing was imported.",
        )
        .or_go(Link::Backup, "Back to the backups"));
    };
    let within = config.data.join(FOLDER);
    let new = NewFolder::make(&within, &cx.today.to_string())
        .await
        .map_err(|why| disk(&why))?;
    match receive(&mut parts, &new.sent()).await {
        Ok(0) => {
            let why = "No file was chosen. Choose a zip file that an export made.";
            return refuse(&cx, StatusCode::UNPROCESSABLE_ENTITY, why).await;
        }
        Ok(bytes) if bytes > ARCHIVE_BYTES => return too_large(&cx).await,
        Ok(_) => {}
        Err(Lost::Sent(why)) if why.status() == StatusCode::PAYLOAD_TOO_LARGE => {
            return too_large(&cx).await;
        }
        Err(Lost::Sent(_)) => {
            let why = "The archive did not arrive whole. Nothing was imported; choose it again.";
            return refuse(&cx, StatusCode::BAD_REQUEST, why).await;
        }
        Err(Lost::Disk(why)) => return Err(disk(&why)),
    }
    let here = Handle::current();
    let reading = tokio::task::spawn_blocking(move || here.block_on(read(new)));
    match reading.await.map_err(|why| disk(&why))? {
        Ok(Some(book)) => Ok(go_with(
            &Link::Backup,
            &Flash::good(format!(
                "The archive is imported into {} and checked: {} movements. This book is as it was. To \
                 use the imported one, stop Tapewright and start it with --data and that folder.",
                book.folder.display(),
                book.movements
            )),
        )),
        Ok(None) => {
            let why = "Reading this archive took too long and was ended. Nothing was imported. Import it \
                       on the machine itself: tapewright import FILE --data NEWFOLDER.";
            refuse(&cx, StatusCode::UNPROCESSABLE_ENTITY, why).await
        }
        Err(why) => match fault(&why) {
            Some(why) => refuse(&cx, StatusCode::UNPROCESSABLE_ENTITY, &why).await,
            None => Err(disk(&why)),
        },
    }
}

#[cfg(test)]
mod tests {
    use axum::body::Body;

    use super::*;

    async fn sent(body: &'static str) -> Multipart {
        let request = Request::builder()
            .header("content-type", "multipart/form-data; boundary=edge")
            .body(Body::from(body))
            .unwrap();
        Multipart::from_request(request, &()).await.unwrap()
    }

    #[tokio::test]
    async fn a_folder_is_new_and_goes_again_unless_it_is_kept() {
        let home = tempfile::tempdir().unwrap();
        let within = home.path().join(FOLDER);
        let mut kept = NewFolder::make(&within, "2026-03-05").await.unwrap();
        kept.kept = true;
        let other = NewFolder::make(&within, "2026-03-05").await.unwrap();
        assert_eq!(other.path, within.join("2026-03-05-2"));
        std::fs::write(other.sent(), "half").unwrap();
        drop(other);
        let left: Vec<_> = std::fs::read_dir(&within).unwrap().collect();
        assert_eq!(left.len(), 1);
        kept.kept = false;
        drop(kept);
        assert!(!within.exists());
    }

    #[tokio::test]
    async fn an_archive_is_stored_as_it_came_and_a_broken_form_is_told() {
        let home = tempfile::tempdir().unwrap();
        let file = home.path().join(SENT);
        let mut whole = sent(
            "--edge\r\nContent-Disposition: form-data; name=\"other\"\r\n\r\nx\r\n\
             --edge\r\nContent-Disposition: form-data; name=\"archive\"; filename=\"a.zip\"\r\n\r\n\
             PK\r\n--edge--\r\n",
        )
        .await;
        assert_eq!(receive(&mut whole, &file).await.unwrap(), 2);
        assert_eq!(std::fs::read(&file).unwrap(), b"PK");
        let mut none = sent(
            "--edge\r\nContent-Disposition: form-data; name=\"other\"\r\n\r\nx\r\n--edge--\r\n",
        )
        .await;
        assert_eq!(receive(&mut none, &file).await.unwrap(), 0);
        let mut half =
            sent("--edge\r\nContent-Disposition: form-data; name=\"archive\"\r\n\r\nPK").await;
        assert!(matches!(
            receive(&mut half, &file).await,
            Err(Lost::Sent(_))
        ));
    }
}
