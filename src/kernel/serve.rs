//! The kernel process: sockets, heartbeat, control, and the thread that holds the desk.
//!
//! Sockets are bound and `kernel_info` is answered before the evaluator is there, so a client sees
//! a living kernel at once and the first cell waits instead.

use super::desk::{Desk, Reach, Voice};
use super::message::{Message, Signer, VERSION};
use super::prepare::Prepared;
use super::protocol::language_info;
use serde_json::{Value, json};
use std::path::Path;
use std::sync::mpsc::{Sender, channel};
use std::sync::{Arc, PoisonError};
use std::time::Duration;
use tokio::sync::mpsc::{UnboundedSender, unbounded_channel};
use zeromq::{
    PubSocket, RouterRecvHalf, RouterSendHalf, RouterSocket, Socket, SocketRecv, SocketSend, ZmqMessage,
};

/// Where a client and its kernel meet.
#[derive(Clone, Debug)]
struct Connection {
    transport: String,
    ip: String,
    ports: [u16; 5],
    key: String,
}

const SOCKETS: [&str; 5] = ["shell_port", "iopub_port", "stdin_port", "control_port", "hb_port"];

impl Connection {
    fn read(path: &Path) -> Result<Connection, String> {
        let said = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
        let text = std::fs::read_to_string(path).map_err(|e| said(&e))?;
        let file: Value = serde_json::from_str(&text).map_err(|e| said(&e))?;
        let scheme = file["signature_scheme"].as_str().unwrap_or("hmac-sha256");
        if scheme != "hmac-sha256" {
            return Err(said(&format!("signature scheme `{scheme}` is not known; `hmac-sha256` is")));
        }
        let mut ports = [0; 5];
        for (port, name) in ports.iter_mut().zip(SOCKETS) {
            let given = file[name].as_u64().and_then(|p| u16::try_from(p).ok());
            *port = given.ok_or_else(|| said(&format!("`{name}` is missing or not a port")))?;
        }
        let text = |key: &str, default: &str| file[key].as_str().unwrap_or(default).to_owned();
        Ok(Connection {
            transport: text("transport", "tcp"),
            ip: text("ip", "127.0.0.1"),
            ports,
            key: text("key", ""),
        })
    }

    fn address(&self, n: usize) -> String {
        match self.transport.as_str() {
            "ipc" => format!("ipc://{}-{}", self.ip, self.ports[n]),
            other => format!("{other}://{}:{}", self.ip, self.ports[n]),
        }
    }
}

/// What leaves the process, by socket.
enum Out {
    Everybody(ZmqMessage),
    Shell(ZmqMessage),
}

struct Mouth {
    signer: Signer,
    out: UnboundedSender<Out>,
}

impl Voice for Mouth {
    fn publish(&self, parent: &Value, kind: &str, content: Value) {
        // Nobody listens any more: the kernel is ending.
        let _ = self.out.send(Out::Everybody(self.signer.publish(parent, kind, &content)));
    }

    fn reply(&self, request: &Message, kind: &str, content: Value) {
        let _ = self.out.send(Out::Shell(self.signer.reply(request, kind, &content)));
    }
}

/// Serves one client until it asks to stop.
///
/// # Errors
/// A connection file that cannot be used, ports that are taken.
pub fn serve(prepared: Prepared, connection: &Path) -> Result<(), String> {
    let connection = Connection::read(connection)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| format!("the kernel's event loop: {e}"))?;
    runtime.block_on(run(prepared, connection))
}

async fn run(prepared: Prepared, connection: Connection) -> Result<(), String> {
    let said = |what: &str, e: zeromq::ZmqError| format!("the {what} socket at its port: {e}");
    let mut routers = Vec::new();
    for n in [0, 2, 3, 4] {
        let mut socket = RouterSocket::new();
        socket.bind(&connection.address(n)).await.map_err(|e| said(SOCKETS[n], e))?;
        routers.push(socket.split());
    }
    let mut iopub = PubSocket::new();
    iopub.bind(&connection.address(1)).await.map_err(|e| said(SOCKETS[1], e))?;
    let mut routers = routers.into_iter();
    let mut next = || routers.next().ok_or("a socket is missing");
    let ((shell_out, shell), (_stdin_out, _stdin), (control_out, control), (beat_out, beat)) =
        (next()?, next()?, next()?, next()?);

    let signer = Signer::new(&connection.key);
    let (out, mut leaving) = unbounded_channel();
    let mouth = Arc::new(Mouth { signer: signer.clone(), out });
    tokio::spawn(async move {
        let mut shell_out = shell_out;
        while let Some(message) = leaving.recv().await {
            // A client that went away is no reason to stop.
            let _ = match message {
                Out::Everybody(m) => iopub.send(m).await,
                Out::Shell(m) => shell_out.send(m).await,
            };
        }
    });
    tokio::spawn(echo(beat, beat_out));

    let reach: Reach = Arc::default();
    let (requests, incoming) = channel();
    let slot = prepared.slot.path.clone();
    {
        let (mouth, reach) = (Arc::clone(&mouth), Arc::clone(&reach));
        std::thread::Builder::new()
            .name("desk".to_owned())
            .stack_size(64 << 20)
            .spawn(move || Desk::new(&prepared, &*mouth, reach).work(&incoming))
            .map_err(|e| format!("the kernel's thread: {e}"))?;
    }
    mouth.publish(&json!({}), "status", json!({"execution_state": "starting"}));

    let (stop, mut stopped) = unbounded_channel::<()>();
    tokio::spawn(listen(shell, signer.clone(), Arc::clone(&mouth), requests, stop.clone()));
    tokio::spawn(obey(control, control_out, signer, Arc::clone(&mouth), Arc::clone(&reach), stop.clone()));
    tokio::spawn(watch_signals(Arc::clone(&reach), stop.clone()));
    tokio::spawn(watch_parent(stop));
    stopped.recv().await;
    // What was said last must get out before the process ends.
    tokio::time::sleep(Duration::from_millis(60)).await;
    if let Some(interrupter) = &*reach.lock().unwrap_or_else(PoisonError::into_inner) {
        interrupter.kill();
    }
    let _ = std::fs::remove_dir_all(slot);
    // The desk's thread may be deep in a cell; it ends with the process.
    std::process::exit(0)
}

async fn echo(mut beat: RouterRecvHalf, mut out: RouterSendHalf) {
    while let Ok(message) = beat.recv().await {
        let _ = out.send(message).await;
    }
}

fn kernel_info() -> Value {
    json!({
        "status": "ok",
        "protocol_version": VERSION,
        "implementation": "railrise",
        "implementation_version": env!("CARGO_PKG_VERSION"),
        "language_info": language_info(),
        "banner": concat!("Railrise ", env!("CARGO_PKG_VERSION"), ": fuel delivery, simulated and taught"),
        "debugger": false,
        "help_links": [],
        "supported_features": [],
    })
}

async fn listen(
    mut shell: RouterRecvHalf,
    signer: Signer,
    mouth: Arc<Mouth>,
    requests: Sender<Message>,
    stop: UnboundedSender<()>,
) {
    while let Ok(frames) = shell.recv().await {
        let request = match signer.read(frames) {
            Ok(request) => request,
            Err(error) => {
                eprintln!("railrise: dropped {error}");
                continue;
            }
        };
        match request.kind() {
            "kernel_info_request" => {
                mouth.publish(&request.header, "status", json!({"execution_state": "busy"}));
                mouth.reply(&request, "kernel_info_reply", kernel_info());
                mouth.publish(&request.header, "status", json!({"execution_state": "idle"}));
            }
            "shutdown_request" => {
                let content = json!({"status": "ok", "restart": request.content["restart"]});
                mouth.reply(&request, "shutdown_reply", content.clone());
                mouth.publish(&request.header, "shutdown_reply", content);
                let _ = stop.send(());
            }
            _ => {
                if requests.send(request).is_err() {
                    break;
                }
            }
        }
    }
}

async fn obey(
    mut control: RouterRecvHalf,
    mut out: RouterSendHalf,
    signer: Signer,
    mouth: Arc<Mouth>,
    reach: Reach,
    stop: UnboundedSender<()>,
) {
    while let Ok(frames) = control.recv().await {
        let request = match signer.read(frames) {
            Ok(request) => request,
            Err(error) => {
                eprintln!("railrise: dropped {error}");
                continue;
            }
        };
        mouth.publish(&request.header, "status", json!({"execution_state": "busy"}));
        let answer = match request.kind() {
            "interrupt_request" => {
                interrupt(&reach);
                Some(("interrupt_reply", json!({"status": "ok"})))
            }
            "shutdown_request" => {
                Some(("shutdown_reply", json!({"status": "ok", "restart": request.content["restart"]})))
            }
            "kernel_info_request" => Some(("kernel_info_reply", kernel_info())),
            "debug_request" => Some((
                "debug_reply",
                json!({"status": "error", "ename": "no debugger", "evalue": "there is no debugger here", "traceback": []}),
            )),
            other => {
                eprintln!("railrise: a control message of type `{other}` is not known here");
                None
            }
        };
        if let Some((kind, content)) = answer {
            let _ = out.send(signer.reply(&request, kind, &content)).await;
            if kind == "shutdown_reply" {
                mouth.publish(&request.header, kind, content);
                let _ = stop.send(());
            }
        }
        mouth.publish(&request.header, "status", json!({"execution_state": "idle"}));
    }
}

fn interrupt(reach: &Reach) {
    if let Some(interrupter) = &*reach.lock().unwrap_or_else(PoisonError::into_inner) {
        interrupter.interrupt();
    }
}

/// An interrupt may also come as a signal; the order to end always does.
async fn watch_signals(reach: Reach, stop: UnboundedSender<()>) {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let Ok(mut end) = signal(SignalKind::terminate()) else { return };
        tokio::spawn(async move {
            end.recv().await;
            let _ = stop.send(());
        });
    }
    #[cfg(not(unix))]
    let _ = stop;
    while tokio::signal::ctrl_c().await.is_ok() {
        interrupt(&reach);
    }
}

/// A kernel whose client died without a word must not live on.
async fn watch_parent(stop: UnboundedSender<()>) {
    #[cfg(unix)]
    if std::env::var_os("JPY_PARENT_PID").is_some() {
        let parent = std::os::unix::process::parent_id();
        while std::os::unix::process::parent_id() == parent {
            tokio::time::sleep(Duration::from_secs(1)).await;
        }
        let _ = stop.send(());
    }
    #[cfg(not(unix))]
    drop(stop);
}
