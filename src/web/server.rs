//! The listener: a thread for each connection, so many at most, each request with a limit of size and time.

use super::assets;
use super::guard::{Guard, Refused, token_of};
use super::incoming::{NoRequest, RequestReader};
use super::reply::Reply;
use super::request::Request;
use super::rooms::{Keeper, locked};
use super::routes::Site;
use crate::night::Desk;
use crate::practice::Measurer;
use crate::scenario::Scenario;
use rand::TryRng;
use rand::rngs::SysRng;
use std::io::{self, ErrorKind};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, TcpStream, UdpSocket};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// Connections at a time; more are told to come back.
const CONNECTIONS_AT_MOST: usize = 128;
/// Long bodies (frames) at a time; more are told to come back, since each may take half a gigabyte while it is read.
const LONG_BODIES_AT_MOST: usize = 1;
/// After a wrong token nobody's next wrong one is looked at for so long.
const WRONG_TOKEN: Duration = Duration::from_millis(100);
/// A reply must be taken within this.
const TAKEN_WITHIN: Duration = Duration::from_secs(10);

/// What to serve.
pub struct Config {
    /// The telescope.
    pub scenario: Scenario,
    /// Its text.
    pub scenario_text: String,
    /// Port; 0 for any that is free.
    pub port: u16,
    /// Whether other machines of the network may ask, with a token.
    pub lan: bool,
    /// Where sessions are kept.
    pub keeper: Option<Box<dyn Keeper>>,
    /// Measures a frame, where the program can.
    pub measurer: Option<Arc<Measurer>>,
    /// The night that is followed; whoever asks then needs the token.
    pub night: Option<Arc<dyn Desk>>,
}

/// Why nothing is served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// Somebody else listens there.
    #[error("port {port} is in use by another program")]
    PortInUse {
        /// The port.
        port: u16,
    },
    /// Another refusal of the system.
    #[error("cannot listen on port {port}: {source}")]
    Listen {
        /// The port.
        port: u16,
        /// What the system says.
        source: io::Error,
    },
    /// No random token.
    #[error("the system gives no random numbers for the token")]
    NoChance,
}

impl ServeError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            ServeError::PortInUse { .. } => {
                "is the page open already? Or choose another one: --port 0 takes any that is free"
            }
            ServeError::Listen { .. } => "choose another port, above 1023",
            ServeError::NoChance => "try again; without --lan and --night no token is needed",
        }
    }
}

/// A server that has its port and waits to be run.
pub struct Server {
    listener: TcpListener,
    address: SocketAddr,
    guard: Guard,
    site: Site,
}

impl Server {
    /// Takes the port.
    ///
    /// # Errors
    /// [`ServeError`] when it cannot.
    pub fn open(config: Config) -> Result<Server, ServeError> {
        let port = config.port;
        let host = if config.lan {
            Ipv4Addr::UNSPECIFIED
        } else {
            Ipv4Addr::LOCALHOST
        };
        let refused = |source: io::Error| match source.kind() {
            ErrorKind::AddrInUse => ServeError::PortInUse { port },
            _ => ServeError::Listen { port, source },
        };
        let listener = TcpListener::bind((host, port)).map_err(refused)?;
        let address = listener.local_addr().map_err(refused)?;
        let token = match config.lan || config.night.is_some() {
            true => {
                let drawn = SysRng.try_next_u64().map_err(|_| ServeError::NoChance)?;
                Some(token_of(drawn))
            }
            false => None,
        };
        Ok(Server {
            listener,
            address,
            guard: Guard {
                port: address.port(),
                lan: config.lan,
                token,
            },
            site: Site::new(
                config.scenario,
                config.scenario_text,
                config.keeper,
                config.measurer,
            )
            .with_night(config.night),
        })
    }

    /// Address to open in a browser: on this machine, or with `lan` in the network. A token stands behind the `#`, where browsers keep it to
    /// themselves.
    pub fn address(&self) -> String {
        let port = self.address.port();
        let host = match self.guard.lan {
            false => "localhost".to_owned(),
            true => own_address().to_string(),
        };
        let behind = self.guard.token.as_ref();
        let behind = behind.map_or(String::new(), |token| format!("#{token}"));
        format!("http://{host}:{port}/{behind}")
    }

    /// The token that every request for data needs, where one is needed.
    pub fn token(&self) -> Option<&str> {
        self.guard.token.as_deref()
    }

    /// Serves until the program ends.
    pub fn run(self) {
        let site = Arc::new(self.site);
        let gate = Arc::new(Gate {
            guard: self.guard,
            wrong: Mutex::default(),
        });
        let (open, long) = (Counter::default(), Counter::default());
        for stream in self.listener.incoming() {
            // a connection that went away before it was taken is nobody's fault
            let Ok(mut stream) = stream else { continue };
            let Some(counted) = open.one_more(CONNECTIONS_AT_MOST) else {
                turn_away(&mut stream);
                continue;
            };
            let (site, gate, long) = (site.clone(), gate.clone(), long.clone());
            let spawned = std::thread::Builder::new()
                .name("page".into())
                .spawn(move || {
                    let _counted = counted;
                    converse(stream, &site, &gate, &long);
                });
            // no thread to be had: the connection and its count were dropped with the closure
            drop(spawned);
        }
    }
}

/// The guard, and those who wait because they tried a wrong token.
struct Gate {
    guard: Guard,
    wrong: Mutex<()>,
}

impl Gate {
    /// The status of a refusal, or nothing. Wrong tokens are refused one after the other and slowly.
    fn refusal(&self, request: &Request) -> Option<u16> {
        let Refused { status, tried } = self.guard.refusal(request)?;
        if tried {
            let _one_at_a_time = locked(&self.wrong);
            std::thread::sleep(WRONG_TOKEN);
        }
        Some(status)
    }
}

/// How many of something there are.
#[derive(Clone, Default)]
struct Counter(Arc<AtomicUsize>);

impl Counter {
    /// One more, where there are not so many yet.
    fn one_more(&self, at_most: usize) -> Option<Counted> {
        let counted = Counted(self.0.clone());
        (self.0.fetch_add(1, Ordering::SeqCst) < at_most).then_some(counted)
    }
}

/// Counts one until it ends, however it ends.
struct Counted(Arc<AtomicUsize>);

impl Drop for Counted {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::SeqCst);
    }
}

fn turn_away(stream: &mut TcpStream) {
    let busy = stream.set_write_timeout(Some(Duration::from_millis(200)));
    if busy.is_ok() {
        Reply::refusal(503)
            .send(stream, false, true)
            .unwrap_or_default();
    }
}

fn converse(stream: TcpStream, site: &Site, gate: &Gate, long: &Counter) {
    let prepared = stream
        .set_nodelay(true)
        .and_then(|()| stream.set_write_timeout(Some(TAKEN_WITHIN)));
    let (Ok(()), Ok(mut sink)) = (prepared, stream.try_clone()) else {
        return;
    };
    let mut reader = RequestReader::new(stream);
    loop {
        match reader.next(&|request, bytes| admit(gate, long, request, bytes)) {
            Ok(arrived) => {
                let (request, keep_alive) = (arrived.request, arrived.keep_alive);
                let _held = arrived.pass;
                let reply = answer(site, gate, &request);
                let with_body = request.method != "HEAD";
                let sent = reply.send(&mut sink, keep_alive, with_body);
                if sent.is_err() || !keep_alive {
                    return;
                }
            }
            Err(NoRequest::Closed) => return,
            Err(NoRequest::Refused(status)) => {
                let refusal = Reply::refusal(status);
                if refusal.send(&mut sink, false, true).is_ok() {
                    linger(sink);
                }
                return;
            }
        }
    }
}

/// Lets a long body in: nobody who may not ask, no more than its address takes, not too many at a time.
fn admit(gate: &Gate, long: &Counter, request: &Request, bytes: usize) -> Result<Counted, u16> {
    match gate.refusal(request) {
        Some(status) => Err(status),
        None if bytes > request.bytes_at_most() => Err(413),
        None => long.one_more(LONG_BODIES_AT_MOST).ok_or(503),
    }
}

/// Lets a refusal arrive before the connection is cut: what the other side still sends is read and thrown away for a moment.
fn linger(mut stream: TcpStream) {
    use std::io::Read;
    let half_closed = stream.shutdown(std::net::Shutdown::Write);
    let patient = stream.set_read_timeout(Some(Duration::from_millis(100)));
    if half_closed.is_err() || patient.is_err() {
        return;
    }
    let mut thrown = [0u8; 4096];
    for _ in 0..64 {
        match stream.read(&mut thrown) {
            Ok(count) if count > 0 => {}
            _ => return,
        }
    }
}

/// A panic in an answer costs that answer only.
fn answer(site: &Site, gate: &Gate, request: &Request) -> Reply {
    if let Some(status) = gate.refusal(request) {
        return Reply::refusal(status);
    }
    let answered = || assets::reply(request).unwrap_or_else(|| site.answer(request));
    catch_unwind(AssertUnwindSafe(answered)).unwrap_or_else(|_| Reply::refusal(500))
}

/// The address under which this machine is seen in its network. Nothing is sent: a datagram socket only chooses its route.
fn own_address() -> IpAddr {
    let local = IpAddr::V4(Ipv4Addr::LOCALHOST);
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0));
    socket
        .and_then(|socket| {
            socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9))?;
            socket.local_addr()
        })
        .map_or(local, |address| address.ip())
}
