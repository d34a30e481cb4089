//! The service: database, clock and settings joined with the router, bound to a port.

use std::{
    future::Future,
    net::SocketAddr,
    sync::{Arc, PoisonError, RwLock},
    time::Duration,
};

use axum_server::{Handle, tls_rustls::RustlsConfig};
use tokio::{
    net::TcpListener,
    sync::{oneshot, watch},
    task::JoinHandle,
};

use crate::{
    backups,
    clock::Clock,
    config::{Config, Tls},
    db::{self, Db, DbError, Mark, OpenError},
    model::venue::Venue,
    people::Doors,
    units::Date,
    web::{self, beside::Beside},
};

/// What every handler needs. Cheap to clone.
#[derive(Debug, Clone)]
pub struct App(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    db: Db,
    clock: Clock,
    config: Config,
    doors: Doors,
    /// Whether the service stops: what is answered without end then ends.
    stopping: watch::Sender<bool>,
    /// The state last seen, with its settings.
    seen: RwLock<Option<(Mark, Arc<Venue>, i64)>>,
}

/// What the service is at one moment: everything that pages rest on beside their address and their
/// reader.
#[derive(Debug, Clone)]
pub struct Now {
    /// The state of the database; what is read from it afterwards is at least as new.
    pub mark: Mark,
    /// The venue's settings.
    pub venue: Arc<Venue>,
    /// The venue's calendar day.
    pub today: Date,
    /// Where the clock stands before the last change of the book: when that was, in words.
    pub behind: Option<String>,
}

/// Why the service did not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// The database.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The first look into the database.
    #[error(transparent)]
    Db(#[from] DbError),
    /// Nobody could sign in.
    #[error(
        "People sign in at {0}, and there is no keeper yet who could. Nothing was started. Make the \
         first one on this machine: tapewright people add NAME --role keep (with the same --data)."
    )]
    NoKeeper(SocketAddr),
    /// The certificate.
    #[error(
        "The certificate {} with the key {} cannot be used ({why}). Nothing was started. Both are PEM \
         files; the key must be the certificate’s.", .tls.certificate.display(), .tls.key.display()
    )]
    Tls {
        /// Which files.
        tls: Tls,
        /// What is wrong with them.
        why: std::io::Error,
    },
    /// The port.
    #[error(
        "Cannot listen on {0} ({1}). Nothing was started. Is Tapewright already running? Choose another port with --listen."
    )]
    Bind(SocketAddr, std::io::Error),
}

impl App {
    /// Opens the database and reads the settings.
    pub async fn open(config: Config, clock: Clock) -> Result<Self, StartError> {
        let db = Db::open(&config.data).await?;
        let app = Self(Arc::new(Inner {
            db,
            clock,
            config,
            doors: Doors::default(),
            stopping: watch::Sender::new(false),
            seen: RwLock::default(),
        }));
        if let Some(last) = app.now().await?.behind {
            tracing::warn!(
                last_change = last,
                "the machine's clock stands before the book's last change: set it"
            );
        }
        Ok(app)
    }

    /// The database.
    pub fn db(&self) -> &Db {
        &self.0.db
    }

    /// The clock.
    pub fn clock(&self) -> &Clock {
        &self.0.clock
    }

    /// The command line's settings.
    pub fn config(&self) -> &Config {
        &self.0.config
    }

    /// What lets people in.
    pub fn doors(&self) -> &Doors {
        &self.0.doors
    }

    /// Whether the service stops, to be waited for.
    pub fn stopping(&self) -> watch::Receiver<bool> {
        self.0.stopping.subscribe()
    }

    /// What the service is now. The settings are read again where anything was committed since they
    /// were, by this process or by another.
    pub async fn now(&self) -> Result<Now, DbError> {
        let seen = self
            .0
            .seen
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        let known = seen.as_ref().map(|(mark, ..)| *mark);
        let (mark, venue, written_ms) = match (self.0.db.changed(known).await?, seen) {
            (None, Some(seen)) => seen,
            (Some(now), _) => {
                let read = (now.mark, Arc::new(now.venue), now.written_ms);
                let mut seen = self.0.seen.write().unwrap_or_else(PoisonError::into_inner);
                *seen = Some(read.clone());
                read
            }
            (None, None) => unreachable!("an unknown state is a changed one"),
        };
        let today = self.0.clock.today(&venue.zone);
        let behind = self.0.clock.behind(written_ms, &venue.zone);
        Ok(Now {
            mark,
            venue,
            today,
            behind,
        })
    }
}

/// How long what is under way may take once the service ends.
const LAST_ANSWERS: Duration = Duration::from_secs(5);

/// A running service.
#[derive(Debug)]
pub struct Running {
    /// The address that it listens on.
    pub address: SocketAddr,
    stop: oneshot::Sender<()>,
    task: JoinHandle<std::io::Result<()>>,
    backups: JoinHandle<()>,
    app: App,
    beside: Beside,
}

/// Refuses to serve where people sign in and nobody could.
async fn keeper_there(app: &App) -> Result<(), StartError> {
    let config = app.config();
    if config.needs_sign_in() && db::person::keepers(&mut *app.db().read().await?).await? == 0 {
        return Err(StartError::NoKeeper(config.listen));
    }
    Ok(())
}

/// Binds and serves in the background.
pub async fn start(app: App) -> Result<Running, StartError> {
    keeper_there(&app).await?;
    let listen = app.config().listen;
    let bind = |why| StartError::Bind(listen, why);
    let listener = TcpListener::bind(listen).await.map_err(bind)?;
    let address = listener.local_addr().map_err(bind)?;
    let (stop, stopped) = oneshot::channel::<()>();
    let (router, beside) = web::beside::service(app.clone());
    let router = router.into_make_service_with_connect_info::<SocketAddr>();
    let task = if let Some(tls) = &app.config().tls {
        let unusable = |why| StartError::Tls {
            tls: tls.clone(),
            why,
        };
        let certificate = RustlsConfig::from_pem_file(&tls.certificate, &tls.key);
        let mut speaks = (*certificate.await.map_err(unusable)?.get_inner()).clone();
        // As without a certificate: who asks names the host in a header of its own.
        speaks.alpn_protocols = vec![b"http/1.1".to_vec()];
        let certificate = RustlsConfig::from_config(Arc::new(speaks));
        let listener = listener.into_std().map_err(bind)?;
        let handle = Handle::new();
        let server = axum_server::from_tcp_rustls(listener, certificate)
            .map_err(bind)?
            .handle(handle.clone())
            .http1_only();
        tokio::spawn(async move {
            let _ = stopped.await;
            handle.graceful_shutdown(Some(LAST_ANSWERS));
        });
        tokio::spawn(server.serve(router))
    } else {
        tokio::spawn(async move {
            axum::serve(listener, router)
                .with_graceful_shutdown(async {
                    let _ = stopped.await;
                })
                .await
        })
    };
    let backups = tokio::spawn(backups::keep_making(app.clone()));
    Ok(Running {
        address,
        stop,
        task,
        backups,
        app,
        beside,
    })
}

impl Running {
    /// The service's own handle, for tests and for the command line.
    pub fn app(&self) -> &App {
        &self.app
    }

    /// Serves until `end`, then answers what is under way, closes the database and returns.
    pub async fn until(self, end: impl Future<Output = ()>) {
        end.await;
        self.stop().await;
    }

    /// Answers what is under way, closes the database and returns.
    pub async fn stop(self) {
        let _ = self.stop.send(());
        self.app.0.stopping.send_replace(true);
        self.backups.abort();
        // A browser that keeps its connection open must not keep the service from ending.
        if tokio::time::timeout(LAST_ANSWERS, self.task).await.is_err() {
            tracing::warn!("some connections were still open and were dropped");
        }
        self.beside.close().await;
        self.app.db().clone().close().await;
    }
}
