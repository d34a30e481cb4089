//! The worked sample as a book of its own, beside the venue's: the same pages over another database,
//! under a path of its own. Nothing that is done in one touches the other.

use std::{net::SocketAddr, path::PathBuf, sync::Arc};

use axum::{
    Extension, Router,
    extract::{ConnectInfo, Request, State},
    http::{Extensions, StatusCode, Uri, uri::PathAndQuery},
    middleware::from_fn_with_state,
    response::{IntoResponse as _, Response},
    routing::any,
};
use tokio::sync::Mutex;
use tower::ServiceExt as _;

use super::{
    error::{Answer, Trouble},
    form::Form,
    gate::{self, Signed},
    link::{self, Link},
    page::{Flash, go, go_with},
};
use crate::{app::App, config::Config, db::Db, sample};

/// The path that the sample's addresses begin with.
const PATH: &str = "/sample";

/// The sample while it is open: its own service and pages.
#[derive(Debug, Clone)]
struct Open {
    app: App,
    pages: Router,
}

/// The worked sample beside a venue's own book.
#[derive(Debug, Clone)]
pub struct Beside {
    own: App,
    open: Arc<Mutex<Option<Open>>>,
}

impl Beside {
    /// Not open yet.
    pub fn new(own: App) -> Self {
        Self {
            own,
            open: Arc::default(),
        }
    }

    /// A folder within the own book's, so that the command line reaches it with `--data`.
    fn folder(&self) -> PathBuf {
        self.own.config().data.join("sample")
    }

    /// The sample's pages; `None` where there is no sample, unless it is to be made.
    async fn pages(&self, make: bool) -> Result<Option<Router>, Trouble> {
        let mut open = self.open.lock().await;
        if let Some(open) = &*open {
            return Ok(Some(open.pages.clone()));
        }
        let folder = self.folder();
        let there = tokio::fs::try_exists(folder.join(Db::FILE)).await;
        if !there.unwrap_or(false) && !make {
            return Ok(None);
        }
        let config = Config {
            data: folder,
            // Who comes in is asked by the own book, for both.
            within: true,
            ..self.own.config().clone()
        };
        let app = App::open(config, self.own.clock().clone())
            .await
            .map_err(|why| failed(&why))?;
        if make && let Err(why) = sample::fill(app.db(), app.clock()).await {
            app.db().clone().close().await;
            self.remove().await?;
            return Err(failed(&why));
        }
        let pages = super::router(app.clone());
        *open = Some(Open {
            app,
            pages: pages.clone(),
        });
        Ok(Some(pages))
    }

    async fn remove(&self) -> Result<(), Trouble> {
        match tokio::fs::remove_dir_all(self.folder()).await {
            Err(why) if why.kind() != std::io::ErrorKind::NotFound => Err(failed(&why)),
            _ => Ok(()),
        }
    }

    async fn clear(&self) -> Result<(), Trouble> {
        let mut open = self.open.lock().await;
        if let Some(open) = open.take() {
            open.app.db().clone().close().await;
        }
        self.remove().await
    }

    /// Closes the sample's database, if it is open.
    pub async fn close(&self) {
        if let Some(open) = self.open.lock().await.take() {
            open.app.db().clone().close().await;
        }
    }
}

fn failed(why: &dyn std::error::Error) -> Trouble {
    tracing::error!(%why, "the sample's book");
    Trouble::new(
        StatusCode::INTERNAL_SERVER_ERROR,
        "The sample’s book could not be opened or cleared away: see the log. Your own book is as it was.",
    )
}

/// The venue's own book with the sample beside it.
pub fn service(app: App) -> (Router, Beside) {
    let beside = Beside::new(app.clone());
    let sample = Router::new()
        .route(PATH, any(within))
        .route("/sample/", any(within))
        .route("/sample/{*rest}", any(within))
        .with_state(beside.clone())
        .layer(from_fn_with_state(app.clone(), gate::gate));
    let own = super::router(app).layer(Extension(beside.clone()));
    (own.merge(sample), beside)
}

/// The request as the sample's own service sees it.
fn inner(uri: &Uri) -> Option<Uri> {
    let whole = uri.path_and_query()?.as_str();
    let rest = whole.strip_prefix(PATH)?;
    let rest = if rest.starts_with('/') {
        rest.to_owned()
    } else {
        format!("/{rest}")
    };
    let mut parts = uri.clone().into_parts();
    parts.path_and_query = Some(PathAndQuery::try_from(rest).ok()?);
    Uri::from_parts(parts).ok()
}

/// The request under its inner address. Of what was put to it on the way only who sends it goes along:
/// the words that the outer routes read off its address would count as ids of the inner ones.
fn handed_on(request: Request, uri: Uri) -> Request {
    let (mut parts, body) = request.into_parts();
    let mut kept = Extensions::new();
    if let Some(signed) = parts.extensions.remove::<Signed>() {
        kept.insert(signed);
    }
    if let Some(peer) = parts.extensions.remove::<ConnectInfo<SocketAddr>>() {
        kept.insert(peer);
    }
    parts.extensions = kept;
    parts.uri = uri;
    Request::from_parts(parts, body)
}

/// Any request to a page or to the API of the sample.
async fn within(State(beside): State<Beside>, request: Request) -> Response {
    let pages = match beside.pages(false).await {
        Ok(Some(pages)) => pages,
        Ok(None) => {
            return Trouble::new(
                StatusCode::NOT_FOUND,
                "The worked sample is not open, or was cleared away. Open it from Settings. Your own \
                 book is as it was.",
            )
            .into_response();
        }
        Err(trouble) => return trouble.into_response(),
    };
    let Some(uri) = inner(request.uri()) else {
        return StatusCode::BAD_REQUEST.into_response();
    };
    link::under(PATH, pages.oneshot(handed_on(request, uri)))
        .await
        .into_response()
}

/// POST: opens the sample, filling it if it is not there, or clears it away. Within the sample there
/// is no other one.
pub async fn press(beside: Option<Extension<Beside>>, form: Form) -> Answer {
    let Some(Extension(beside)) = beside else {
        return Err(Trouble::not_found("page"));
    };
    match form.value("do") {
        "open" => {
            beside.pages(true).await?;
            Ok(go(&Link::Sample))
        }
        "clear" => {
            beside.clear().await?;
            Ok(go_with(
                &Link::Own,
                &Flash::good("The worked sample is cleared away. This is your own book."),
            ))
        }
        _ => Err(Trouble::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "This form says neither to open the sample nor to clear it away. Nothing was changed.",
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::inner;

    #[test]
    fn the_samples_addresses_lose_their_first_word_only() {
        let text = |uri: &str| inner(&uri.parse().unwrap()).map(|uri| uri.to_string());
        assert_eq!(text("/sample").as_deref(), Some("/"));
        assert_eq!(text("/sample/").as_deref(), Some("/"));
        assert_eq!(
            text("/sample/log?who=A%20B").as_deref(),
            Some("/log?who=A%20B")
        );
        assert_eq!(text("/sample?x=1").as_deref(), Some("/?x=1"));
        assert_eq!(text("/log"), None);
    }
}
