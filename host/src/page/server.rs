//! The server of the pages: a thread of its own, a bounded number of connections, nothing waited
//! for.

use super::guard::{Access, Ends};
use super::hub::Hub;
use super::routes;
use axum::Router;
use axum::body::Body;
use axum::extract::Request;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use std::collections::HashMap;
use std::io;
use std::net::{IpAddr, SocketAddr, TcpListener as StdListener};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, oneshot};
use tokio_io_timeout::TimeoutStream;

/// What clients may take at most. They are strict because a drive needs few: a phone on the dash,
/// a tablet in the pit.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// Connections in all; further ones are closed at once.
    pub connections: usize,
    /// Connections from one address other than this machine's.
    pub connections_each: usize,
    /// Readers of the event stream; further ones are told to come back.
    pub readers: usize,
    /// A request's head must have come within this; a connection may idle as long.
    pub head: Duration,
    /// A client that takes nothing for this long is let go.
    pub stall: Duration,
    /// Bytes of a request's head.
    pub head_bytes: usize,
    /// Bytes kept for a client that does not take them, in the program and in the system each.
    pub held_bytes: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            connections: 48,
            connections_each: 16,
            readers: 16,
            head: Duration::from_secs(5),
            stall: Duration::from_secs(10),
            head_bytes: 16 << 10,
            held_bytes: 64 << 10,
        }
    }
}

/// Why the pages cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum StartFault {
    /// Another program listens there.
    #[error("{0}: already in use; stop the other program or take another port with --page-port")]
    Busy(SocketAddr),
    /// Anything else.
    #[error("{at}: cannot listen there: {source}")]
    Io {
        /// Where.
        at: SocketAddr,
        /// What the system says.
        source: io::Error,
    },
}

/// How long readers have to take what is left at the end.
const GOODBYE: Duration = Duration::from_millis(200);

/// Called with how long a cue took from its sample's arrival until a page took it.
pub type Taken = Box<dyn Fn(Duration) + Send + Sync>;

/// The running server. It stops when dropped.
#[derive(Debug)]
pub struct Server {
    address: SocketAddr,
    hub: Option<Arc<Hub>>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Server {
    /// Listens and serves from a thread of its own. `reference` is the JSON of the reference.
    pub fn start(
        listen: SocketAddr,
        access: Access,
        hub: Arc<Hub>,
        reference: String,
        limits: Limits,
        taken: Taken,
    ) -> Result<Self, StartFault> {
        let talk = Talk::new(hub.clone(), reference, access, limits, taken);
        let mut server = Self::start_talk(listen, talk)?;
        server.hub = Some(hub);
        Ok(server)
    }

    /// Listens and answers from a thread of its own.
    pub fn start_talk(listen: SocketAddr, talk: Talk) -> Result<Self, StartFault> {
        let fault = |source: io::Error| match source.kind() {
            io::ErrorKind::AddrInUse => StartFault::Busy(listen),
            _ => StartFault::Io { at: listen, source },
        };
        let listener = StdListener::bind(listen).map_err(fault)?;
        listener.set_nonblocking(true).map_err(fault)?;
        let address = listener.local_addr().map_err(fault)?;
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(fault)?;
        let (stop, stopped) = oneshot::channel();
        let thread = std::thread::Builder::new()
            .name("page".into())
            .spawn(move || {
                runtime.block_on(async {
                    let serve = serve(listener, talk);
                    tokio::select! {
                        () = serve => {}
                        _ = stopped => {}
                    }
                });
                runtime.shutdown_timeout(Duration::from_millis(200));
            })
            .map_err(fault)?;
        Ok(Self {
            address,
            hub: None,
            stop: Some(stop),
            thread: Some(thread),
        })
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }
}

impl Server {
    /// Ends the drive for the readers as well: each gets what is left and a goodbye first.
    pub fn finish(self) {
        if let Some(hub) = &self.hub {
            hub.end();
        }
        std::thread::sleep(GOODBYE);
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

async fn serve(listener: StdListener, talk: Talk) {
    let Ok(listener) = TcpListener::from_std(listener) else {
        return;
    };
    let limits = talk.limits;
    let all = Arc::new(Semaphore::new(limits.connections));
    let each = Each::default();
    loop {
        let (stream, peer) = match listener.accept().await {
            Ok(accepted) => accepted,
            Err(_) => {
                // Out of descriptors or an aborted connection: never spin on it.
                tokio::time::sleep(Duration::from_millis(50)).await;
                continue;
            }
        };
        let (Ok(permit), Some(seat)) = (
            all.clone().try_acquire_owned(),
            each.seat(peer.ip(), limits.connections_each),
        ) else {
            continue;
        };
        let talk = talk.clone();
        tokio::spawn(async move {
            // A client that errs is its own problem.
            let _ = connection(stream, peer, talk).await;
            drop((permit, seat));
        });
    }
}

async fn connection(
    stream: TcpStream,
    peer: SocketAddr,
    talk: Talk,
) -> Result<(), Box<dyn std::error::Error + Send + Sync>> {
    let local = stream.local_addr()?;
    // A cue must not wait for more data to fill a packet.
    stream.set_nodelay(true)?;
    // The system would keep megabytes for a client that has long gone, and a stall be noticed late.
    socket2::SockRef::from(&stream).set_send_buffer_size(talk.limits.held_bytes)?;
    let mut stream = TimeoutStream::new(stream);
    stream.set_write_timeout(Some(talk.limits.stall));
    talk.with(Box::pin(stream), local, peer).await
}

/// What is said over one connection, whatever it runs over.
#[derive(Clone)]
pub struct Talk {
    router: Router,
    limits: Limits,
}

impl std::fmt::Debug for Talk {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Talk").finish_non_exhaustive()
    }
}

impl Talk {
    /// For the hub's log. `reference` is the JSON of the reference.
    pub fn new(
        hub: Arc<Hub>,
        reference: String,
        access: Access,
        limits: Limits,
        taken: Taken,
    ) -> Self {
        Self {
            router: routes::router(hub, reference, limits.readers, access, taken),
            limits,
        }
    }

    /// For any routes; [`super::guard`] belongs around them.
    pub fn of(router: Router, limits: Limits) -> Self {
        Self { router, limits }
    }

    /// Answers requests between these two ends until one of them is done.
    pub async fn with(
        &self,
        stream: impl AsyncRead + AsyncWrite + Unpin + 'static,
        local: SocketAddr,
        peer: SocketAddr,
    ) -> Result<(), Box<dyn std::error::Error + Send + Sync>> {
        let router = self.router.clone();
        let service = hyper::service::service_fn(move |request: hyper::Request<_>| {
            let mut request: Request = request.map(Body::new);
            request.extensions_mut().insert(Ends { local, peer });
            tower_call(router.clone(), request)
        });
        http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(self.limits.head)
            .max_buf_size(self.limits.head_bytes)
            .serve_connection(TokioIo::new(stream), service)
            .await?;
        Ok(())
    }
}

async fn tower_call(
    router: Router,
    request: Request,
) -> Result<axum::response::Response, std::convert::Infallible> {
    use hyper_util::service::TowerToHyperService;
    hyper::service::Service::call(&TowerToHyperService::new(router), request).await
}

/// How many connections each address holds.
#[derive(Clone, Debug, Default)]
struct Each(Arc<Mutex<HashMap<IpAddr, usize>>>);

/// One connection's place; given back when dropped.
#[derive(Debug)]
struct Seat {
    each: Each,
    ip: IpAddr,
}

impl Each {
    /// A place for one more, if the address has not too many. This machine itself is not counted.
    fn seat(&self, ip: IpAddr, most: usize) -> Option<Seat> {
        let mut held = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let count = held.entry(ip).or_insert(0);
        if *count >= most && !ip.to_canonical().is_loopback() {
            return None;
        }
        *count += 1;
        Some(Seat {
            each: self.clone(),
            ip,
        })
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut held = self.each.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = held.get_mut(&self.ip) {
            *count = count.saturating_sub(1);
            if *count == 0 {
                held.remove(&self.ip);
            }
        }
    }
}
