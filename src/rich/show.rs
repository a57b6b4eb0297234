//! Putting a value on the page: in our own kernel, in a plain Rust kernel, in a terminal.

use super::{Bundle, Rich, wire};
use std::fmt::Debug;
use std::io::Write;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering};

/// Who reads the output of this process.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Reader {
    /// Our own kernel or runner: marker lines.
    Ours,
    /// A plain Rust kernel: blocks of which the last of a MIME type counts.
    PlainKernel,
    /// A person at a terminal, or a pipe.
    Terminal,
}

pub(super) fn reader() -> Reader {
    static READER: OnceLock<Reader> = OnceLock::new();
    *READER.get_or_init(|| {
        if std::env::var_os(wire::CELL_VARIABLE).is_some() {
            Reader::Ours
        } else if std::env::var_os("EVCXR_IS_RUNTIME").is_some() {
            Reader::PlainKernel
        } else {
            Reader::Terminal
        }
    })
}

/// Writes in one go, so that lines of several threads cannot mix. A closed pipe means that nobody
/// reads any more, which is no reason to stop computing.
pub(super) fn write_out(text: &str) {
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

pub(super) fn emit(bundle: &Bundle, message: &serde_json::Value) {
    match reader() {
        Reader::Ours => write_out(&wire::line(message)),
        Reader::PlainKernel => {
            let block = |(mime, content): (&str, &str)| {
                format!("EVCXR_BEGIN_CONTENT {mime}\n{content}\nEVCXR_END_CONTENT\n")
            };
            write_out(&bundle.iter().map(block).collect::<String>());
        }
        Reader::Terminal => {
            write_out(&bundle.get("text/plain").map(|t| format!("{t}\n")).unwrap_or_default())
        }
    }
}

/// Puts a value on the page now; a cell may show any number of them.
pub fn show<T: Rich + ?Sized>(value: &T) {
    let bundle = value.rich();
    if !bundle.is_empty() {
        emit(&bundle, &wire::display(&bundle, None));
    }
}

/// A place on the page whose content can be replaced.
#[derive(Debug)]
pub struct Live {
    id: String,
}

/// Puts a value on the page and returns the place, to replace it later.
pub fn show_live<T: Rich + ?Sized>(value: &T) -> Live {
    live("railrise-", value)
}

pub(super) fn live<T: Rich + ?Sized>(prefix: &str, value: &T) -> Live {
    static NEXT: AtomicU64 = AtomicU64::new(1);
    let id = format!("{prefix}{}-{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
    let bundle = value.rich();
    emit(&bundle, &wire::display(&bundle, Some(&id)));
    Live { id }
}

impl Live {
    /// Replaces what stands in the place.
    pub fn update<T: Rich + ?Sized>(&self, value: &T) {
        let bundle = value.rich();
        emit(&bundle, &wire::update(&bundle, &self.id));
    }
}

/// Wipes the output of the cell; with `wait` only when the next output comes, so nothing flickers.
pub fn clear_output(wait: bool) {
    if reader() == Reader::Ours {
        write_out(&wire::line(&wire::clear(wait)));
    }
}

/// Hands text printed without a line end to the page.
pub fn flush() {
    let _ = std::io::stdout().flush();
}

/// How the last expression of a cell is shown when its type is [`Rich`]. In scope through the
/// prelude; the method has the name that a plain Rust kernel looks for.
pub trait EndRich {
    /// Shows the value as the result of its cell.
    fn evcxr_display(&self);
}

impl<T: Rich + ?Sized> EndRich for T {
    fn evcxr_display(&self) {
        let bundle = self.rich();
        if bundle.is_empty() {
            flush();
        } else {
            emit(&bundle, &wire::result(&bundle));
        }
    }
}

/// How the last expression of a cell is shown when its type is not [`Rich`]: as its debug text.
///
/// Implemented for references, so that a rich value prefers [`EndRich`]: the compiler looks one
/// reference deeper only when it finds nothing nearer.
pub trait EndDebug {
    /// Shows the value as the result of its cell.
    fn evcxr_display(&self);
}

impl<T: Debug + ?Sized> EndDebug for &T {
    fn evcxr_display(&self) {
        let bundle = Bundle::text(format!("{self:?}"));
        emit(&bundle, &wire::result(&bundle));
    }
}

/// Called once by the kernel when cells start to run: turns the interrupt signal into the cancel
/// flag and panics into one clear message instead of a backtrace.
pub fn ready() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        if reader() != Reader::Ours {
            return;
        }
        if let Err(error) = super::listen_for_interrupt(false) {
            eprintln!("an interrupt will end the evaluator, because its signal cannot be handled: {error}");
        }
        std::panic::set_hook(Box::new(|info| {
            let message = info.payload_as_str().unwrap_or("a panic without a message");
            let (file, line) = info.location().map_or(("", 0), |l| (l.file(), l.line()));
            write_out(&wire::line(&wire::panic(message, file, line)));
        }));
    });
}
