//! The server: this machine only, few connections, none for ever, nothing long.

use super::app::App;
use super::door::{Door, Refusal};
use super::routes;
use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::io;
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::timeout;

/// Connections at a time: a browser opens six for each page.
const MOST_CONNECTIONS: usize = 64;
/// The first lines of a request must be there within so long.
const PATIENCE: Duration = Duration::from_secs(10);
/// No connection lives longer, so that readers who do not read cost a bounded amount; pages connect
/// again by themselves.
const LONGEST: Duration = Duration::from_secs(600);
/// Bytes of a request's first lines.
const MOST_HEAD: usize = 16 * 1024;
/// Lines among them.
const MOST_HEADERS: usize = 64;

/// Sockets of one window: the same port of both addresses, where there are two.
#[derive(Debug)]
pub struct Sockets {
    four: TcpListener,
    six: Option<TcpListener>,
}

impl Sockets {
    /// Takes a free port of this machine's own addresses.
    ///
    /// # Errors
    /// Where the system gives none.
    pub async fn bind() -> io::Result<Self> {
        let four = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?;
        let port = four.local_addr()?.port();
        let six = TcpListener::bind((Ipv6Addr::LOCALHOST, port)).await.ok();
        Ok(Self { four, six })
    }
    /// The port.
    ///
    /// # Errors
    /// Where the system does not tell.
    pub fn port(&self) -> io::Result<u16> {
        self.four.local_addr().map(|at| at.port())
    }
    /// Serves until it is dropped.
    pub async fn serve(self, app: Arc<App>) {
        let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
        let router = routes::router(Arc::clone(&app));
        loop {
            let accepted = tokio::select! {
                accepted = self.four.accept() => accepted,
                accepted = accept(self.six.as_ref()) => accepted,
            };
            let Ok((stream, from)) = accepted else {
                // Out of sockets: the next may be free in a moment.
                tokio::time::sleep(Duration::from_millis(50)).await;
                continue;
            };
            begin(&app, &room, &router, stream, from);
        }
    }
}

async fn accept(socket: Option<&TcpListener>) -> io::Result<(TcpStream, SocketAddr)> {
    match socket {
        Some(socket) => socket.accept().await,
        None => std::future::pending().await,
    }
}

fn begin(
    app: &Arc<App>,
    room: &Arc<Semaphore>,
    router: &Router,
    stream: TcpStream,
    from: SocketAddr,
) {
    if !from.ip().is_loopback() {
        return;
    }
    let Ok(place) = Arc::clone(room).try_acquire_owned() else {
        app.door.count(Refusal::Crowd);
        return;
    };
    let (app, router) = (Arc::clone(app), router.clone());
    tokio::spawn(async move {
        let _place = place;
        // Small answers leave at once; where that cannot be asked for they leave later.
        let _ = stream.set_nodelay(true);
        let served = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(PATIENCE)
            .max_buf_size(MOST_HEAD)
            .max_headers(MOST_HEADERS)
            .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
        if let Ok(Err(error)) = timeout(LONGEST, served).await {
            count(&app.door, &error);
        }
    });
}

fn count(door: &Door, error: &hyper::Error) {
    if error.is_parse_too_large() {
        door.count(Refusal::Long);
    } else if error.is_parse() {
        door.count(Refusal::Broken);
    }
}
