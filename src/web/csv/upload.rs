//! A form with a file: its bytes as they came, so that a broken one can be named by line.

use axum::{
    extract::{FromRequest, Multipart, Request, multipart::MultipartError},
    http::{StatusCode, header},
};

use crate::{
    model::csv::SIZE_LIMIT,
    web::{
        error::Trouble,
        form::{Form, broken},
        link::Link,
    },
};

/// The most that such a form carries. Much more than a file may have: one that is too large arrives
/// whole all the same, and is refused by a sentence instead of a connection cut while it is sent.
pub const BODY_LIMIT: usize = 8 * SIZE_LIMIT;

/// What was sent.
#[derive(Debug, Default)]
pub struct Upload {
    /// The fields that are text.
    pub form: Form,
    /// The file, if one was chosen.
    pub file: Option<Vec<u8>>,
}

fn unread(why: &MultipartError) -> Trouble {
    if why.status() == StatusCode::PAYLOAD_TOO_LARGE {
        too_large()
    } else {
        broken()
    }
}

fn too_large() -> Trouble {
    Trouble::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        format!(
            "A file of at most {} MiB is read at once. Nothing was changed. Cut it into several \
             files, each with the titles of the columns.",
            SIZE_LIMIT / (1024 * 1024)
        ),
    )
    .or_go(Link::Csv, "Back to reading files")
}

impl<S: Send + Sync> FromRequest<S> for Upload {
    type Rejection = Trouble;

    async fn from_request(request: Request, state: &S) -> Result<Self, Trouble> {
        let multipart = request
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|value| value.to_str().ok())
            .is_some_and(|kind| kind.to_ascii_lowercase().starts_with("multipart/form-data"));
        if !multipart {
            let form = Form::from_request(request, state).await.map_err(|why| {
                if why.status == StatusCode::PAYLOAD_TOO_LARGE {
                    too_large()
                } else {
                    why
                }
            })?;
            return Ok(Self { form, file: None });
        }
        let mut parts = Multipart::from_request(request, state)
            .await
            .map_err(|_| broken())?;
        let mut fields: Vec<(String, String)> = Vec::new();
        let mut file = None;
        while let Some(field) = parts.next_field().await.map_err(|why| unread(&why))? {
            let name = field.name().unwrap_or_default().to_owned();
            let bytes = field.bytes().await.map_err(|why| unread(&why))?;
            if name == "file" {
                file = Some(bytes.to_vec()).filter(|bytes| !bytes.is_empty());
            } else {
                let text = String::from_utf8(bytes.to_vec()).map_err(|_| broken())?;
                fields.push((name, text));
            }
        }
        Ok(Self {
            form: Form::filled(fields),
            file,
        })
    }
}
