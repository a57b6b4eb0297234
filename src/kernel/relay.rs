//! The process between the evaluator and the cells: passes on what a cell prints, as it comes.
//!
//! The evaluator reads whole lines, keeps only the last picture of a kind, lets a panic pass as
//! success and mixes printed text with its own protocol. The relay turns everything a cell prints
//! into one JSON line a piece ([`railrise::rich::wire`]), adds what the evaluator swallows, and hands
//! over the end of a cell only when all that was printed before it has been passed on.

use railrise::rich::wire::{self, MARK};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{ChildStdin, Command, ExitCode, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// Set in the environment of a process that is to act as relay.
///
/// Its value is the path of a file. While the file is missing nobody listens: the evaluator tries a
/// first cell of its own before its output can be read, and would wait for ever on anything said.
pub const RELAY_VARIABLE: &str = "RAILRISE_RELAY";

const COMPLETE: &str = "EVCXR_EXECUTION_COMPLETE";
const PANICKED: &str = "EVCXR_PANIC_NOTIFICATION";
pub(super) const RETURNED_ERROR: &str = "EVCXR_ERROR_OCCURRED";
pub(super) const LOST_VARIABLE: &str = "EVCXR_VARIABLE_CHANGED_TYPE:";
const BEGIN: &str = "EVCXR_BEGIN_CONTENT ";
const END: &str = "EVCXR_END_CONTENT";
const INPUT: &str = "EVCXR_INPUT";
/// Written by the relay itself into the error stream, to learn that all before it was read.
const ALL_READ: &[u8] = b"\x02railrise all read\n";
/// Text without a line end is passed on after this long.
const PATIENCE: Duration = Duration::from_millis(40);

/// Whether a cell is running.
static RUNNING: AtomicBool = AtomicBool::new(false);

/// Whether somebody reads what the relay says.
static LISTENED: AtomicBool = AtomicBool::new(false);

/// Acts as relay when started as one.
pub fn run_if_called_so() -> Option<ExitCode> {
    let listened = PathBuf::from(std::env::var_os(RELAY_VARIABLE)?);
    Some(relay(&listened).unwrap_or_else(|error| {
        eprintln!("the relay of the notebook's cells failed: {error}");
        ExitCode::from(70)
    }))
}

fn relay(listened: &Path) -> std::io::Result<ExitCode> {
    let parent = parent_id();
    let (errors, mut errors_in) = std::io::pipe()?;
    let mut child = Command::new(std::env::current_exe()?)
        .env_remove(RELAY_VARIABLE)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::from(errors_in.try_clone()?))
        .spawn()?;
    let (pid, listened) = (child.id(), listened.to_owned());

    // Orders of the evaluator, one a line; the end of them ends the cells' process.
    let orders_in = child.stdin.take().ok_or_else(|| std::io::Error::other("no way to the cells"))?;
    let orders_in = Arc::new(Mutex::new(Some(orders_in)));
    let input = Arc::clone(&orders_in);
    let orders_end = Arc::new(AtomicBool::new(false));
    let no_more = Arc::clone(&orders_end);
    std::thread::spawn(move || {
        for order in std::io::stdin().lock().lines().map_while(Result::ok) {
            if !LISTENED.load(Ordering::SeqCst) && listened.exists() {
                LISTENED.store(true, Ordering::SeqCst);
                send(&json!({"kind": "started", "pid": pid}));
            }
            send(&json!({"kind": "running"}));
            RUNNING.store(true, Ordering::SeqCst);
            if !say(&orders_in, &order) {
                break;
            }
        }
        *orders_in.lock().unwrap_or_else(PoisonError::into_inner) = None;
        no_more.store(true, Ordering::SeqCst);
    });

    let (all_read, wait_all_read) = sync_channel(1);
    std::thread::spawn(move || pass_errors(errors, &all_read));

    let output = child.stdout.take().ok_or_else(|| std::io::Error::other("no output of the cells"))?;
    let (chunk_in, chunks) = sync_channel::<Vec<u8>>(16);
    std::thread::spawn(move || pass_chunks(output, &chunk_in));

    let mut lines = Lines::default();
    let mut asking = 0;
    let mut left = 2;
    loop {
        match chunks.recv_timeout(if lines.partial.is_empty() {
            Duration::from_millis(500)
        } else {
            PATIENCE
        }) {
            Ok(chunk) => {
                asking = 0;
                lines.take(&chunk, &mut errors_in, &wait_all_read)?;
            }
            Err(RecvTimeoutError::Timeout) => {
                lines.hurry();
                // Twice in a row: a cell that has just ended waits for its next order the same way.
                asking = if RUNNING.load(Ordering::SeqCst) && waits_for_input(pid) { asking + 1 } else { 0 };
                if asking > 1 {
                    asking = 0;
                    send(&json!({"kind": "asked"}));
                    let _ = say(&input, "");
                }
                // Nobody is left to give orders or to read: do not leave a loop running for ever. A process that
                // waits for its next order has half a second to see that none will come.
                let ended = orders_end.load(Ordering::SeqCst);
                left = if ended && left > 0 { left - 1 } else { left };
                if parent_id() != parent || left == 0 {
                    child.kill()?;
                }
            }
            Err(RecvTimeoutError::Disconnected) => break,
        }
    }
    lines.hurry();
    let status = child.wait()?;
    // What was printed to the error stream before the end must not be lost with it.
    finish_errors(&mut errors_in, &wait_all_read)?;
    send(&json!({"kind": "ended", "how": status.to_string()}));
    Ok(ExitCode::from(status.code().and_then(|c| u8::try_from(c).ok()).unwrap_or(70)))
}

/// One line to the cells' process; whether it went there.
fn say(to: &Mutex<Option<ChildStdin>>, line: &str) -> bool {
    let mut to = to.lock().unwrap_or_else(PoisonError::into_inner);
    to.as_mut().is_some_and(|to| writeln!(to, "{line}").and_then(|()| to.flush()).is_ok())
}

/// Whether the cells' main thread is reading its standard input. A notebook has nobody to type
/// there, so the reader is given an empty line; otherwise it would wait until it is interrupted.
/// Known on Linux only.
fn waits_for_input(pid: u32) -> bool {
    // The number of the system call (read), then its first argument (descriptor 0).
    let call = std::fs::read_to_string(format!("/proc/{pid}/syscall")).unwrap_or_default();
    let read = if cfg!(target_arch = "x86_64") { "0" } else { "63" };
    let mut words = call.split_whitespace();
    words.next() == Some(read) && words.next() == Some("0x0")
}

#[cfg(unix)]
fn parent_id() -> u32 {
    std::os::unix::process::parent_id()
}

#[cfg(not(unix))]
fn parent_id() -> u32 {
    0
}

/// One message to the session, or one line of the evaluator's own protocol.
fn send_line(line: &str) {
    let mut out = std::io::stdout().lock();
    // A closed pipe shows itself by the parent's end.
    let _ = out.write_all(line.as_bytes()).and_then(|()| out.flush());
}

fn send(message: &Value) {
    if LISTENED.load(Ordering::SeqCst) {
        send_line(&wire::line(message));
    }
}

fn pass_chunks(mut from: impl Read, to: &SyncSender<Vec<u8>>) {
    let mut buffer = vec![0; 1 << 16];
    while let Ok(n) = from.read(&mut buffer) {
        if n == 0 || to.send(buffer[..n].to_vec()).is_err() {
            break;
        }
    }
}

fn pass_errors(errors: impl Read, all_read: &SyncSender<()>) {
    let mut errors = BufReader::new(errors);
    let mut waiting = Vec::new();
    loop {
        let available = match errors.fill_buf() {
            Ok([]) | Err(_) => break,
            Ok(bytes) => bytes,
        };
        let n = available.len();
        waiting.extend_from_slice(available);
        errors.consume(n);
        let found = waiting.windows(ALL_READ.len()).position(|w| w == ALL_READ);
        let until = found.unwrap_or_else(|| valid_up_to(&waiting));
        if until > 0 {
            send(&json!({"kind": "stderr", "text": String::from_utf8_lossy(&waiting[..until])}));
        }
        waiting.drain(..until + found.map_or(0, |_| ALL_READ.len()));
        if found.is_some() && all_read.send(()).is_err() {
            break;
        }
    }
}

/// How much of the bytes can be passed on without cutting a character or our own mark in two.
fn valid_up_to(bytes: &[u8]) -> usize {
    let whole = match std::str::from_utf8(bytes) {
        Ok(_) => bytes.len(),
        Err(e) if e.error_len().is_none() => e.valid_up_to(),
        Err(_) => bytes.len(),
    };
    let longest = ALL_READ.len().min(whole);
    (1..longest)
        .rev()
        .find(|&n| whole >= n && ALL_READ.starts_with(&bytes[whole - n..whole]))
        .map_or(whole, |n| whole - n)
}

fn finish_errors(errors_in: &mut impl Write, wait: &Receiver<()>) -> std::io::Result<()> {
    errors_in.write_all(ALL_READ)?;
    wait.recv().map_err(|_| std::io::Error::other("the error stream closed"))
}

#[derive(Default)]
struct Lines {
    /// Bytes of a line that has no end yet.
    partial: Vec<u8>,
    /// Whole lines of text not yet passed on.
    text: String,
    /// Forms of one value that a foreign type shows in the evaluator's own way.
    bundle: serde_json::Map<String, Value>,
    /// The form being read.
    form: Option<(String, String)>,
}

impl Lines {
    fn take(&mut self, chunk: &[u8], errors_in: &mut impl Write, wait: &Receiver<()>) -> std::io::Result<()> {
        let mut rest = chunk;
        while let Some(end) = rest.iter().position(|&b| b == b'\n') {
            self.partial.extend_from_slice(&rest[..end]);
            rest = &rest[end + 1..];
            let line = String::from_utf8_lossy(&std::mem::take(&mut self.partial)).into_owned();
            self.line(&line, errors_in, wait)?;
        }
        self.partial.extend_from_slice(rest);
        self.pass_text();
        Ok(())
    }

    fn line(&mut self, line: &str, errors_in: &mut impl Write, wait: &Receiver<()>) -> std::io::Result<()> {
        if let Some((mime, content)) = &mut self.form {
            // A panic may cut a form short.
            if line == END || line == PANICKED {
                let (mime, content) = (std::mem::take(mime), std::mem::take(content));
                self.form = None;
                if self.bundle.contains_key(&mime) {
                    self.pass_bundle();
                }
                self.bundle.insert(mime, content.into());
            } else {
                if !content.is_empty() {
                    content.push('\n');
                }
                content.push_str(line);
            }
            if line != PANICKED {
                return Ok(());
            }
        }
        if let Some(at) = line.find(BEGIN) {
            self.add_text(&line[..at]);
            let mime = line[at + BEGIN.len()..].split(' ').next().unwrap_or_default();
            self.form = Some((mime.to_owned(), String::new()));
            return Ok(());
        }
        if let Some(at) = line.find(MARK) {
            self.add_text(&line[..at]);
            self.pass_all();
            if LISTENED.load(Ordering::SeqCst) {
                send_line(&format!("{}\n", &line[at..]));
            }
        } else if let Some(text) = line.strip_suffix(COMPLETE) {
            RUNNING.store(false, Ordering::SeqCst);
            self.add_text(text);
            self.pass_all();
            finish_errors(errors_in, wait)?;
            send_line(&format!("{COMPLETE}\n"));
        } else if let Some(text) = line.strip_suffix(PANICKED) {
            self.add_text(text);
            self.pass_all();
            send(&json!({"kind": "panicked"}));
            send_line(&format!("{PANICKED}\n"));
        } else if let Some(text) = line.strip_suffix(RETURNED_ERROR) {
            self.add_text(text);
            self.pass_all();
            send(&json!({"kind": "returned error"}));
            send_line(&format!("{RETURNED_ERROR}\n"));
        } else if line.starts_with(LOST_VARIABLE) || line.starts_with(INPUT) {
            self.pass_all();
            send_line(&format!("{line}\n"));
        } else {
            self.add_text(&format!("{line}\n"));
        }
        Ok(())
    }

    fn add_text(&mut self, text: &str) {
        if !text.is_empty() {
            // What was shown before the text must stay before it.
            if !self.bundle.is_empty() {
                self.pass_all();
            }
            self.text.push_str(text);
        }
    }

    /// Passes on text that has waited for its line end long enough.
    fn hurry(&mut self) {
        let ours = |p: &[u8]| p.contains(&2) || p.windows(5).any(|w| w == b"EVCXR") || self.form.is_some();
        if !self.partial.is_empty() && !ours(&self.partial) {
            let until = valid_up_to(&self.partial);
            let text = String::from_utf8_lossy(&self.partial[..until]).into_owned();
            self.partial.drain(..until);
            self.add_text(&text);
        }
        self.pass_all();
    }

    fn pass_all(&mut self) {
        self.pass_text();
        self.pass_bundle();
    }

    fn pass_text(&mut self) {
        if !self.text.is_empty() {
            send(&json!({"kind": "stdout", "text": std::mem::take(&mut self.text)}));
        }
    }

    fn pass_bundle(&mut self) {
        if !self.bundle.is_empty() {
            send(&json!({"kind": "result", "data": std::mem::take(&mut self.bundle)}));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{ALL_READ, valid_up_to};

    #[test]
    fn characters_and_marks_are_not_cut() {
        assert_eq!(valid_up_to("abc".as_bytes()), 3);
        assert_eq!(valid_up_to(&"3 µ".as_bytes()[..3]), 2, "half of µ waits");
        assert_eq!(valid_up_to(b"ab\xffcd"), 5, "bytes that are no text pass");
        let cut = [b"oops ".as_slice(), &ALL_READ[..7]].concat();
        assert_eq!(valid_up_to(&cut), 5, "half of the mark waits");
    }
}
