//! Parts and stock as CSV, out and in.

use axum::{
    body::Bytes,
    extract::{DefaultBodyLimit, FromRequest, Request},
    http::{StatusCode, header},
    response::IntoResponse as _,
};
use serde::Deserialize;
use sha2::{Digest as _, Sha256};
use utoipa::IntoParams;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{
    Api,
    json::{Answer, Query, reply},
    problem::Problem,
};
use crate::{
    app::App,
    model::{csv::SIZE_LIMIT, part::Kind},
    stock::csv::{
        CsvOutcome, File, ImportError, Sheet, Subject, dry_run, parts_out, read_in, stock_out,
    },
    units::LengthUnit,
    web::{csv::upload::BODY_LIMIT, page::hex},
};

/// The media type of what is sent and taken.
const MEDIA_TYPE: &str = "text/csv";

/// The routes of this subject.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(parts, read_parts))
        .routes(routes!(stock, read_stock))
        .layer(DefaultBodyLimit::max(BODY_LIMIT))
}

/// A file as it was sent.
struct Sent(Bytes);

impl<S: Send + Sync> FromRequest<S> for Sent {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let csv = request
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|kind| kind.to_str().ok())
            .and_then(|kind| kind.split(';').next())
            .is_some_and(|kind| kind.trim().eq_ignore_ascii_case(MEDIA_TYPE));
        if !csv {
            return Err(Problem::new(
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "A file is sent as text/csv. Nothing was changed.",
            ));
        }
        let bytes = Bytes::from_request(request, state).await.map_err(|why| {
            let status = why.status();
            Problem::new(
                status,
                if status == StatusCode::PAYLOAD_TOO_LARGE {
                    too_large()
                } else {
                    "The file did not arrive whole. Nothing was changed; send it again.".to_owned()
                },
            )
        })?;
        if bytes.len() > SIZE_LIMIT {
            return Err(Problem::new(StatusCode::PAYLOAD_TOO_LARGE, too_large()));
        }
        Ok(Self(bytes))
    }
}

fn too_large() -> String {
    format!(
        "A file has at most {SIZE_LIMIT} bytes. Nothing was changed; send it in several, each \
         with the titles."
    )
}

impl From<ImportError> for Problem {
    fn from(why: ImportError) -> Self {
        let told = why.to_string();
        match why {
            ImportError::Faults(faults) => {
                let mut problem = Self::new(StatusCode::UNPROCESSABLE_ENTITY, told);
                for fault in faults.shown() {
                    problem = problem.and_cell(
                        fault.at.line,
                        fault.at.column.clone(),
                        fault.message.clone(),
                    );
                }
                problem
            }
            ImportError::Stale(_) => Self::new(StatusCode::PRECONDITION_FAILED, told),
            ImportError::Stock(why) => why.into(),
        }
    }
}

/// Which parts a file has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct PartsQuery {
    /// Of one kind, with only its columns; all kinds where it is left out.
    kind: Option<Kind>,
    /// Only the titles.
    #[serde(default)]
    titles: bool,
}

/// What a file of stock has.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct StockQuery {
    /// One sort, with only its columns; everything where it is left out.
    what: Option<Sheet>,
    /// Only the titles.
    #[serde(default)]
    titles: bool,
}

/// How a file of parts is read.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ReadParts {
    /// Only say what it would do.
    #[serde(default)]
    dry_run: bool,
}

/// How a file of stock is read.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ReadStock {
    /// Only say what it would do.
    #[serde(default)]
    dry_run: bool,
    /// Make places that are not there; otherwise a path that no place has is refused.
    #[serde(default)]
    make_places: bool,
}

fn unit(api: &Api) -> LengthUnit {
    api.venue.length_unit
}

fn text(text: String) -> Answer {
    let kind = [(
        header::CONTENT_TYPE,
        "text/csv; charset=utf-8; header=present",
    )];
    Ok((kind, text).into_response())
}

/// The catalogue as CSV (RFC 4180). A title names the unit that bare figures take.
#[utoipa::path(get, path = "/csv/parts", params(PartsQuery),
    responses((status = 200, description = "The file", body = String, content_type = "text/csv")))]
async fn parts(api: Api, Query(query): Query<PartsQuery>) -> Answer {
    let mut tx = api.read().await?;
    text(parts_out(&mut tx, query.kind, unit(&api), query.titles, false).await?)
}

/// What there is, as CSV (RFC 4180). A title names the unit that bare figures take.
#[utoipa::path(get, path = "/csv/stock", params(StockQuery),
    responses((status = 200, description = "The file", body = String, content_type = "text/csv")))]
async fn stock(api: Api, Query(query): Query<StockQuery>) -> Answer {
    let mut tx = api.read().await?;
    text(stock_out(&mut tx, query.what, unit(&api), query.titles, false).await?)
}

/// Reads parts in, found by their names, all or nothing. What is wrong is named by line and column.
#[utoipa::path(post, path = "/csv/parts", params(ReadParts),
    request_body(content = String, content_type = "text/csv"),
    responses((status = 200, description = "What was done, or would be", body = CsvOutcome)))]
async fn read_parts(api: Api, Query(query): Query<ReadParts>, sent: Sent) -> Answer {
    read(&api, Subject::Parts, query.dry_run, &sent).await
}

/// Reads stock in, found by tags or by part and place, all or nothing. What is wrong is named by
/// line and column.
#[utoipa::path(post, path = "/csv/stock", params(ReadStock),
    request_body(content = String, content_type = "text/csv"),
    responses((status = 200, description = "What was done, or would be", body = CsvOutcome)))]
async fn read_stock(api: Api, Query(query): Query<ReadStock>, sent: Sent) -> Answer {
    let make_places = query.make_places;
    read(&api, Subject::Stock { make_places }, query.dry_run, &sent).await
}

async fn read(api: &Api, subject: Subject, only_say: bool, sent: &Sent) -> Answer {
    let file = File {
        subject,
        bytes: &sent.0,
        unit: unit(api),
    };
    if only_say {
        return reply(&CsvOutcome::from(&dry_run(api.db(), &file).await?));
    }
    let digest = format!("{subject:?} {}", hex(&Sha256::digest(&sent.0)));
    reply(&read_in(&api.act_on(&digest), &file, None).await?)
}
