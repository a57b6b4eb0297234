//! A compiler that was started before the cell was known.
//!
//! Nobody need wait for the compiler to start. The session keeps one that has started and waits for its source, which it
//! reads from a pipe; the cargo stand-in ([`super::shim`]) asks here, over a
//! socket in the kernel's working folder. Where anything is not as expected the answer is that the stand-in must do it
//! the whole way ([`super::compile`]), which is only slower: a cell that names libraries, a compiler or a linker that
//! fails, a path too long for a socket, another system than Linux. `RAILRISE_CARGO=quick` makes that an error, for tests.
//!
//! When the session ends, however it does, the pipe closes and the waiting compiler ends too.

use super::compile::{self, Cell, Product};
use super::prepare::cells_go;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

#[cfg(target_os = "linux")]
use std::os::unix::net::{UnixListener, UnixStream};

/// The socket in the kernel's working folder.
const SOCKET: &str = "compiler";
/// Where the waiting compiler puts what it makes, below its own folder.
const OBJECTS: &str = "objects";

/// The thread that keeps a compiler ready, until this value is dropped.
#[derive(Debug)]
pub struct Compiler {
    socket: PathBuf,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Compiler {
    /// Starts it for a kernel's working folder; `None` where it cannot be had, and cells then take longer.
    #[cfg(target_os = "linux")]
    pub fn start(slot: &Path) -> Option<Compiler> {
        let cell = Cell::of(slot)?;
        let linker = super::toolchain::on_path("ld")?;
        let (base, builtins) = (PathBuf::from(cell.text("base")), Path::new(cell.text("builtins")));
        let whole = base.is_file() && builtins.is_file();
        let mut bench = whole.then(|| Bench::new(slot, cell, linker, base)).flatten()?;
        let socket = slot.join(SOCKET);
        let _ = std::fs::remove_file(&socket);
        let listener = UnixListener::bind(&socket).ok()?;
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            bench.start_one("1");
            for asked in listener.incoming() {
                let Ok(mut asked) = asked else { continue };
                if stopped.load(Ordering::SeqCst) {
                    break;
                }
                let answer = bench.compile().unwrap_or(Value::Null);
                let level = answer["level"].as_str().unwrap_or("1").to_owned();
                let _ = asked.write_all(format!("{answer}\n").as_bytes());
                drop(asked);
                bench.start_one(&level);
            }
        });
        Some(Compiler { socket, stop, thread: Some(thread) })
    }

    /// Starts it for a kernel's working folder; `None` where it cannot be had, and cells then take longer.
    #[cfg(not(target_os = "linux"))]
    pub fn start(_: &Path) -> Option<Compiler> {
        None
    }
}

impl Drop for Compiler {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        // Where the working folder is gone already the process is about to end, and the thread with it.
        #[cfg(target_os = "linux")]
        if let (Ok(_), Some(thread)) = (UnixStream::connect(&self.socket), self.thread.take()) {
            let _ = thread.join();
        }
    }
}

/// What the compiler said of the cell in a kernel's working folder.
#[derive(Debug)]
pub struct Said {
    /// Its status.
    pub code: u8,
    /// What it wrote.
    pub stdout: String,
    /// What it wrote about errors.
    pub stderr: String,
}

/// Has the cell compiled by the compiler that waits; `None`: it must be done the whole way.
#[cfg(target_os = "linux")]
pub fn ask(slot: &Path) -> Option<Said> {
    let mut answer = String::new();
    BufReader::new(UnixStream::connect(slot.join(SOCKET)).ok()?).read_line(&mut answer).ok()?;
    let answer: Value = serde_json::from_str(&answer).ok()?;
    let text = |key: &str| Some(answer[key].as_str()?.to_owned());
    let code = u8::try_from(answer["code"].as_i64()?).ok()?;
    Some(Said { code, stdout: text("stdout")?, stderr: text("stderr")? })
}

/// Has the cell compiled by the compiler that waits; `None`: it must be done the whole way.
#[cfg(not(target_os = "linux"))]
pub fn ask(_: &Path) -> Option<Said> {
    None
}

/// Where the waiting compiler works.
struct Bench {
    cell: Cell,
    /// Holds `src/lib.rs`, which leads to the compiler's own input: messages name it as they would name a file.
    folder: PathBuf,
    objects: PathBuf,
    linker: PathBuf,
    base: PathBuf,
    waiting: Option<(Child, String)>,
    /// Cells in a row that compiled and did not link.
    unlinked: u32,
}

/// After so many cells in a row that do not link the linker is not asked again.
const PATIENCE: u32 = 2;

impl Bench {
    #[cfg(target_os = "linux")]
    fn new(slot: &Path, cell: Cell, linker: PathBuf, base: PathBuf) -> Option<Bench> {
        let folder = slot.join("ready");
        let objects = folder.join(OBJECTS);
        std::fs::create_dir_all(folder.join("src")).ok()?;
        let source = folder.join("src/lib.rs");
        let _ = std::fs::remove_file(&source);
        std::os::unix::fs::symlink("/dev/stdin", source).ok()?;
        Some(Bench { cell, folder, objects, linker, base, waiting: None, unlinked: 0 })
    }

    fn spawn(&self, level: &str) -> Option<Child> {
        let objects = Path::new(OBJECTS);
        let mut compiler = self.cell.compiler(&self.folder, objects, Product::Objects, level);
        compiler.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().ok()
    }

    fn start_one(&mut self, level: &str) {
        self.end_waiting(level);
        if self.waiting.is_none() && self.unlinked < PATIENCE {
            self.waiting = self.spawn(level).map(|child| (child, level.to_owned()));
        }
    }

    /// Ends a compiler that waits for a cell of another level.
    fn end_waiting(&mut self, level: &str) {
        if let Some((mut compiler, _)) = self.waiting.take_if(|(_, for_level)| for_level != level) {
            let _ = compiler.kill();
            let _ = compiler.wait();
        }
    }

    /// Compiles the cell; what the compiler said, or nothing where it must be done the whole way.
    fn compile(&mut self) -> Option<Value> {
        let source = self.cell.source().ok()?;
        let level = self.cell.level();
        if compile::names_libraries(&source) || self.unlinked >= PATIENCE {
            return None;
        }
        let source = match compile::with_shared_store(&source) {
            Some(source) => source,
            // A store of another text would go unnoticed otherwise.
            None if cells_go("quick") && compile::has_store(&source) => return None,
            None => source,
        };
        self.end_waiting(&level);
        let compiler = self.waiting.take().map(|(child, _)| child).or_else(|| self.spawn(&level))?;
        let _ = std::fs::remove_dir_all(&self.objects);
        std::fs::create_dir_all(&self.objects).ok()?;
        let said = feed(compiler, &source)?;
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let (code, stderr) = (said.status.code()?, text(&said.stderr));
        if code == 0 {
            self.unlinked += 1;
            self.link()?;
            self.unlinked = 0;
        } else if code != 1 || !names_a_place(&stderr) {
            return None;
        }
        Some(json!({"code": code, "level": level, "stdout": text(&said.stdout), "stderr": stderr}))
    }

    fn link(&self) -> Option<()> {
        std::fs::create_dir_all(self.cell.output()).ok()?;
        let mut objects = Vec::new();
        for entry in std::fs::read_dir(&self.objects).ok()? {
            // Of a single unit the compiler makes a copy under another name.
            let unit = |p: &PathBuf| p.to_str().is_some_and(|p| p.ends_with(".rcgu.o"));
            objects.extend(entry.ok().map(|e| e.path()).filter(unit));
        }
        objects.sort();
        let mut linker = Command::new(&self.linker);
        linker.args(["-shared", "--gc-sections", "--eh-frame-hdr", "-znoexecstack", "-zrelro", "-znow"]);
        linker.arg("-o").arg(self.cell.object()).args(objects).arg(&self.base);
        // Arithmetic that the processor does not have, such as division of 128 bits.
        linker.arg(self.cell.text("builtins")).stdin(Stdio::null());
        linker.output().is_ok_and(|o| o.status.success()).then_some(())
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        self.end_waiting("");
    }
}

/// Whether the compiler found an error in the cell, and did not fail itself.
fn names_a_place(said: &str) -> bool {
    said.lines().filter_map(|line| serde_json::from_str::<Value>(line).ok()).any(|message| {
        message["level"] == "error" && message["spans"].as_array().is_some_and(|spans| !spans.is_empty())
    })
}

/// Hands the source to a waiting compiler and waits for its end.
fn feed(mut compiler: Child, source: &str) -> Option<Output> {
    let fed = compiler.stdin.take().map(|mut pipe| pipe.write_all(source.as_bytes()));
    // Its input is closed now, so it ends, whatever it has read.
    let said = compiler.wait_with_output().ok()?;
    fed?.ok().map(|()| said)
}
