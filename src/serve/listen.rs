//! Connections: on the loopback address alone, so many at once, each within limits of time and size; and the end.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::sync::{Semaphore, watch};

use super::guard::Guard;
use super::room::Room;
use super::routes::{App, router};
use super::{ServeError, Sheet};

/// Connections at once; further ones wait.
const CONNECTIONS: usize = 128;
/// Longest time that the head of a request may take, the wait for the next one included.
const HEAD_TIME: Duration = Duration::from_secs(15);
/// Largest head of a request, bytes.
const MOST_HEAD: usize = 64 << 10;
/// A connection older than this is closed when it rests; browsers open another.
const OLDEST: Duration = Duration::from_secs(900);
/// How long answers under way are waited for at the end.
const LAST_WORDS: Duration = Duration::from_millis(1500);

/// A sheet that listens.
pub struct Listener {
    socket: TcpListener,
    app: App,
    /// The address that opens it, once.
    pub address: String,
    /// The port.
    pub port: u16,
    /// What is to be said of marks of the last time that were not saved.
    pub remark: Option<String>,
}

/// Begins to listen; a free port where `port` is 0.
///
/// # Errors
/// The port is taken; the system gives no random bytes.
pub fn listen(sheet: Sheet, port: u16) -> Result<Listener, ServeError> {
    let refused = |error| ServeError::Port { port, error };
    let socket = TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).map_err(refused)?;
    socket.set_nonblocking(true).map_err(refused)?;
    let port = socket.local_addr().map_err(refused)?.port();
    let guard = Arc::new(Guard::new(port)?);
    let address = guard.address()?;
    let room = Arc::new(Room::new(sheet));
    let remark = room.remark();
    Ok(Listener { socket, app: App { guard, room }, address, port, remark })
}

impl Listener {
    /// Answers until the program is asked to end; what is to be said where marks were left that nobody saved.
    ///
    /// # Errors
    /// The system gives no thread or no runtime.
    pub fn run(self) -> Result<Option<String>, ServeError> {
        let room = self.app.room.clone();
        let worker = room.clone();
        std::thread::Builder::new()
            .name("work".into())
            .spawn(move || worker.work())
            .map_err(ServeError::Thread)?;
        let runtime =
            tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(ServeError::Thread)?;
        let router = router(self.app);
        let ended = runtime.block_on(accept(self.socket, router));
        // Measuring that is under way is given up: nothing waits for it any more.
        runtime.shutdown_background();
        room.leave();
        ended.map_err(ServeError::Thread)?;
        Ok(room.unsaved().then(|| room.remark().unwrap_or_default()))
    }
}

async fn accept(socket: TcpListener, router: Router) -> std::io::Result<()> {
    let socket = tokio::net::TcpListener::from_std(socket)?;
    let slots = Arc::new(Semaphore::new(CONNECTIONS));
    let (stop, stopped) = watch::channel(false);
    let mut end = std::pin::pin!(asked_to_end());
    loop {
        let Ok(slot) = slots.clone().acquire_owned().await else { break };
        let stream = tokio::select! {
            () = &mut end => break,
            accepted = socket.accept() => accepted,
        };
        let Ok((stream, _)) = stream else {
            // Too many files are open; some will be closed soon.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let _ = stream.set_nodelay(true);
        let (router, mut stopped) = (router.clone(), stopped.clone());
        tokio::spawn(async move {
            let connection = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEAD_TIME)
                .max_buf_size(MOST_HEAD)
                .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
            let mut connection = std::pin::pin!(connection);
            let over = tokio::select! {
                _ = connection.as_mut() => true,
                _ = stopped.changed() => false,
                () = tokio::time::sleep(OLDEST) => false,
            };
            if !over {
                connection.as_mut().graceful_shutdown();
                let _ = tokio::time::timeout(LAST_WORDS, connection).await;
            }
            drop(slot);
        });
    }
    drop(socket);
    stop.send_replace(true);
    // All slots are free once every connection has ended.
    let _ = tokio::time::timeout(LAST_WORDS, slots.acquire_many(CONNECTIONS as u32)).await;
    Ok(())
}

/// Waits for Ctrl-C, or for the request to end that systems send.
async fn asked_to_end() {
    let interrupt = async {
        if tokio::signal::ctrl_c().await.is_err() {
            std::future::pending::<()>().await;
        }
    };
    #[cfg(unix)]
    let terminate = async {
        use tokio::signal::unix::{SignalKind, signal};
        match signal(SignalKind::terminate()) {
            Ok(mut asked) => drop(asked.recv().await),
            Err(_) => std::future::pending().await,
        }
    };
    #[cfg(not(unix))]
    let terminate = std::future::pending::<()>();
    tokio::select! {
        () = interrupt => {}
        () = terminate => {}
    }
}
