//! One running notebook: the evaluator, its variables, and what its cells put out.

use super::cell;
use super::error::{self, CellError};
use super::library::{self, Library};
use super::prepare::{self, Prepared};
use super::ready::Compiler;
use super::relay::RELAY_VARIABLE;
use super::{sources, units};
use evcxr::{CommandContext, Completions, EvalCallbacks, EvalContext, EvalContextOutputs};
use railrise::rich::wire;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU32, AtomicU64, Ordering};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// What every session loads before the first cell.
const PRELUDE: &str = "use railrise::prelude::*;\nrailrise::rich::ready();";
/// How long an interrupted cell may go on before it is ended by force.
const GRACE: Duration = Duration::from_millis(2000);

/// Something a cell puts out, at the moment it does.
#[derive(Clone, Debug, PartialEq)]
pub enum Output {
    /// Printed text.
    Stdout(String),
    /// Text printed to the error stream.
    Stderr(String),
    /// Something shown; under the name `id` it can be updated.
    Display {
        /// MIME bundle.
        data: Value,
        /// Name of the place.
        id: Option<String>,
    },
    /// New content for a place.
    Update {
        /// MIME bundle.
        data: Value,
        /// Name of the place.
        id: String,
    },
    /// The value of the last expression.
    Result(Value),
    /// Wipe the output; `true`: only when the next comes.
    Clear(bool),
}

/// Something that can be written at the cursor.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// What is written.
    pub code: String,
    /// Its kind, such as `function`.
    pub kind: &'static str,
    /// How it is shown, with its arguments.
    pub label: String,
}

/// What can stand at a place of the code.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choices {
    /// First byte that a choice replaces.
    pub from: usize,
    /// Byte after the last.
    pub to: usize,
    /// The choices.
    pub choices: Vec<Choice>,
}

/// A notebook being run.
pub struct Session {
    context: Option<CommandContext>,
    outputs: Arc<Mutex<Option<EvalContextOutputs>>>,
    folder: PathBuf,
    state: Arc<State>,
    own_crates: bool,
    home: super::home::Home,
    toolchain: super::toolchain::Toolchain,
    cell_environment: Vec<(String, Option<std::ffi::OsString>)>,
    source_file: PathBuf,
    listening: PathBuf,
    _library: Library,
    _compiler: Option<Compiler>,
}

/// What the interrupter must know while a cell runs.
#[derive(Debug, Default)]
struct State {
    /// Number of the cells' process, 0 while there is none.
    pid: AtomicU32,
    /// Counts cells; odd while one is being executed.
    turn: AtomicU64,
    /// Whether the compiled cell is running, and not still being compiled.
    running: AtomicBool,
    interrupted: AtomicBool,
    killed: AtomicBool,
}

/// Stops the running cell from another thread.
#[derive(Clone, Debug)]
pub struct Interrupter(Arc<State>);

impl Interrupter {
    /// Asks the running cell to stop and, when it does not listen, ends its process.
    pub fn interrupt(&self) {
        let state = &self.0;
        let turn = state.turn.load(Ordering::SeqCst);
        if turn.is_multiple_of(2) || state.interrupted.swap(true, Ordering::SeqCst) {
            return;
        }
        signal(state.pid.load(Ordering::SeqCst), Signal::Interrupt);
        let state = Arc::clone(state);
        std::thread::spawn(move || {
            let mut left = GRACE;
            let step = Duration::from_millis(20);
            while state.turn.load(Ordering::SeqCst) == turn {
                std::thread::sleep(step);
                // A cell that is still being compiled has not been asked yet.
                if state.running.load(Ordering::SeqCst) {
                    left = left.saturating_sub(step);
                }
                if left.is_zero() {
                    state.killed.store(true, Ordering::SeqCst);
                    signal(state.pid.load(Ordering::SeqCst), Signal::Kill);
                    return;
                }
            }
        });
    }

    /// Ends the cells' process at once.
    pub fn kill(&self) {
        self.0.killed.store(true, Ordering::SeqCst);
        signal(self.0.pid.load(Ordering::SeqCst), Signal::Kill);
    }
}

enum Signal {
    Interrupt,
    Resume,
    Kill,
}

#[cfg(unix)]
fn signal(pid: u32, signal: Signal) {
    use rustix::process::{Pid, Signal as S, kill_process};
    let signal = match signal {
        Signal::Interrupt => S::INT,
        Signal::Resume => S::USR1,
        Signal::Kill => S::KILL,
    };
    // Gone already: nothing to do.
    if let Some(pid) = i32::try_from(pid).ok().and_then(Pid::from_raw) {
        let _ = kill_process(pid, signal);
    }
}

#[cfg(not(unix))]
fn signal(_: u32, _: Signal) {}

impl Session {
    /// Starts a session whose cells run in `folder`. May take half a minute the first time, when the
    /// library is built; says so through `tell`.
    ///
    /// # Errors
    /// Missing sources, a library that does not build, an evaluator that does not start.
    pub fn start(prepared: &Prepared, folder: &Path, tell: &mut dyn FnMut(&str)) -> Result<Session, String> {
        sources::make_sure(prepared, tell)?;
        let library = library::make_sure(prepared, tell)?;
        let compiler = Compiler::start(&prepared.slot.path);
        let mut session = Session {
            context: None,
            outputs: Arc::default(),
            folder: folder.to_owned(),
            state: Arc::default(),
            own_crates: false,
            home: prepared.home.clone(),
            toolchain: prepared.toolchain.clone(),
            cell_environment: prepared.cell_environment.clone(),
            source_file: prepared.slot.cell_crate().join("src/lib.rs"),
            listening: prepared.slot.path.join("listening"),
            _library: library,
            _compiler: compiler,
        };
        session.open()?;
        Ok(session)
    }

    /// A handle that stops a cell from another thread.
    pub fn interrupter(&self) -> Interrupter {
        Interrupter(Arc::clone(&self.state))
    }

    /// Forgets all variables and definitions; cells then run in `folder`.
    ///
    /// # Errors
    /// When the evaluator does not start again.
    pub fn restart(&mut self, folder: &Path) -> Result<(), String> {
        if self.folder == folder && !self.own_crates && self.context.is_some() {
            let cleared = self.run(":clear", &mut |_| {});
            if cleared.is_ok() {
                return self.load_prelude();
            }
        }
        self.folder = folder.to_owned();
        self.own_crates = false;
        self.context = None;
        self.open()
    }

    fn open(&mut self) -> Result<(), String> {
        let exe = std::env::current_exe().map_err(|e| format!("this program cannot find itself: {e}"))?;
        let mut command = std::process::Command::new(exe);
        command.current_dir(&self.folder).env(RELAY_VARIABLE, &self.listening).env(wire::CELL_VARIABLE, "1");
        for (key, value) in &self.cell_environment {
            match value {
                Some(value) => command.env(key, value),
                None => command.env_remove(key),
            };
        }
        let _ = std::fs::remove_file(&self.listening);
        // A signal to the kernel's group must not reach the cells; they get their own.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let (context, outputs) = EvalContext::with_subprocess_command(command)
            .map_err(|e| format!("the evaluator does not start: {e}"))?;
        self.context = Some(CommandContext::with_eval_context(context));
        *self.outputs.lock().unwrap_or_else(PoisonError::into_inner) = Some(outputs);
        std::fs::write(&self.listening, "").map_err(|e| format!("{}: {e}", self.listening.display()))?;
        self.run(":linker system", &mut |_| {}).map_err(|e| e.text)?;
        if prepare::cells_go("plain") {
            self.add_library(&mut |_| {}).map_err(|e| e.text)?;
        }
        self.load_prelude()
    }

    fn load_prelude(&mut self) -> Result<(), String> {
        self.run(PRELUDE, &mut |_| {})
            .map_err(|e| format!("the library cannot be loaded into the notebook: {}", e.text))
    }

    /// Names the library in the cell's manifest, so that a real `cargo` finds it beside others.
    fn add_library(&mut self, sink: &mut dyn FnMut(Output)) -> Result<(), CellError> {
        let mut told = false;
        library::build_for_cargo(&self.home, &self.toolchain, &mut |line| {
            if !std::mem::replace(&mut told, true) {
                sink(Output::Stderr("Building the library once more, to join it with other crates\n".into()));
            }
            sink(Output::Stderr(format!("{line}\n")));
        })
        .map_err(|e| CellError::new("library", e))?;
        let line = format!(":dep {}", library::dependency_line(&self.home));
        self.run(&line, &mut |_| {})?;
        self.own_crates = true;
        Ok(())
    }

    /// Runs a cell, handing over what it puts out as it comes.
    ///
    /// # Errors
    /// A cell that does not compile, panics, returns an error, is interrupted, or takes the cells'
    /// process with it. Variables stay unless the error says that they are lost.
    pub fn execute(&mut self, code: &str, sink: &mut dyn FnMut(Output)) -> Result<(), CellError> {
        let ready = cell::ready(code).map_err(|message| CellError::new("not allowed", message))?;
        if ready.code.trim().is_empty() {
            return Ok(());
        }
        if self.context.is_none() {
            self.open().map_err(|e| CellError::fatal("evaluator lost", e))?;
        }
        let Some((crates, rest)) = ready.asks_for_crates() else {
            return self.run_ready(&ready, code, sink);
        };
        self.add_crates(&crates, code, sink)?;
        if rest.code.trim().is_empty() { Ok(()) } else { self.run_ready(&rest, code, sink) }
    }

    /// Joins the library with crates that a cell asks for, and names what that loses.
    fn add_crates(
        &mut self,
        crates: &cell::Ready,
        code: &str,
        sink: &mut dyn FnMut(Output),
    ) -> Result<(), CellError> {
        let before = self.variables();
        if !self.own_crates {
            self.add_library(sink)?;
        }
        let added = self.run_ready(crates, code, sink);
        // It may be another library than before, and has yet to be told where it runs.
        let told = added.and_then(|()| self.run(PRELUDE, &mut |_| {}));
        let after = self.variables();
        let lost: Vec<_> = before.into_iter().filter(|name| !after.contains(name)).collect();
        if !lost.is_empty() {
            sink(Output::Stderr(format!(
                "Joined with other crates the library's types are new ones, so these variables are gone: {}. \
                 Run the cells that define them again; a `:dep` line in the first cell loses nothing.\n",
                lost.join(", ")
            )));
        }
        told
    }

    fn run(&mut self, code: &str, sink: &mut dyn FnMut(Output)) -> Result<(), CellError> {
        let ready = cell::Ready::as_it_is(code);
        self.run_ready(&ready, code, sink)
    }

    fn run_ready(
        &mut self,
        ready: &cell::Ready,
        code: &str,
        sink: &mut dyn FnMut(Output),
    ) -> Result<(), CellError> {
        let state = Arc::clone(&self.state);
        state.interrupted.store(false, Ordering::SeqCst);
        state.killed.store(false, Ordering::SeqCst);
        state.running.store(false, Ordering::SeqCst);
        state.turn.fetch_add(1, Ordering::SeqCst);
        let Some(mut context) = self.context.take() else {
            return Err(CellError::fatal("evaluator lost", "the evaluator is not running"));
        };
        let outputs = Arc::clone(&self.outputs);
        let outputs = outputs.lock().unwrap_or_else(PoisonError::into_inner);
        let Some(outputs) = outputs.as_ref() else {
            return Err(CellError::fatal("evaluator lost", "the evaluator is not running"));
        };

        let mut seen = Seen::default();
        let asked = AtomicBool::new(false);
        let finished = std::thread::scope(|scope| {
            let (done_in, done) = channel();
            let asked = &asked;
            scope.spawn(move || {
                // The analyser may panic; the session then starts it anew.
                let ran = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                    let mut callbacks = EvalCallbacks {
                        input_reader: &|_| {
                            asked.store(true, Ordering::SeqCst);
                            String::new()
                        },
                    };
                    let result = context.execute_with_callbacks(&ready.code, &mut callbacks);
                    (context, result)
                }));
                let _ = done_in.send(ran);
            });
            loop {
                while let Ok(line) = outputs.stdout.recv_timeout(Duration::from_millis(5)) {
                    seen.take(&line, &state, sink);
                }
                match done.recv_timeout(Duration::ZERO) {
                    Err(RecvTimeoutError::Timeout) => {}
                    Ok(ran) => break ran.ok(),
                    Err(RecvTimeoutError::Disconnected) => break None,
                }
            }
        });
        for line in outputs.stdout.try_iter().chain(outputs.stderr.try_iter()) {
            seen.take(&line, &state, sink);
        }
        state.turn.fetch_add(1, Ordering::SeqCst);
        state.running.store(false, Ordering::SeqCst);
        let interrupted = state.interrupted.load(Ordering::SeqCst);

        let Some((context, result)) = finished else {
            // The cells' process may still run; nobody will speak to it again.
            signal(state.pid.swap(0, Ordering::SeqCst), Signal::Kill);
            return Err(CellError::fatal(
                "evaluator crashed",
                "The evaluator itself failed on this cell. It starts again with the next cell; all variables are gone, so run the cells above again.",
            ));
        };
        self.context = Some(context);
        if interrupted && !state.killed.load(Ordering::SeqCst) {
            signal(state.pid.load(Ordering::SeqCst), Signal::Resume);
        }
        let outcome = match result {
            Ok(found) => {
                // Answers to commands such as `:vars` come this way.
                if !found.is_empty() {
                    sink(Output::Result(
                        found
                            .content_by_mime_type
                            .into_iter()
                            .map(|(m, c)| (m, c.into()))
                            .collect::<serde_json::Map<_, _>>()
                            .into(),
                    ));
                }
                if seen.panicked {
                    Err(self.panic_error(&seen, ready, code))
                } else if seen.returned_error {
                    Err(CellError::new(
                        "error",
                        format!("The cell stopped at a `?`: {}", seen.last_error_line()),
                    ))
                } else if seen.asked || asked.load(Ordering::SeqCst) {
                    Err(CellError::new(
                        "input refused",
                        "The cell asked for input, which a notebook here does not give. Write the value into the cell.",
                    ))
                } else {
                    Ok(())
                }
            }
            Err(evcxr::Error::CompilationErrors(errors)) => {
                // The evaluator may report a mere note on an error in the last expression; a plain check tells all.
                let vague = |e: &evcxr::CompilationError| {
                    e.level() != "error" || e.spanned_messages().iter().all(|m| m.span.is_none())
                };
                let again = errors
                    .iter()
                    .any(vague)
                    .then(|| self.context.as_mut()?.check(&ready.code).ok())
                    .flatten();
                let again = again.filter(|e| e.iter().any(|e| e.level() == "error" && e.is_from_user_code()));
                Err(error::from_compiler(&again.unwrap_or(errors), ready, code, &self.names()))
            }
            Err(evcxr::Error::SubprocessTerminated(how)) => {
                state.pid.store(0, Ordering::SeqCst);
                seen.take_lines(&how, &state, sink);
                Err(self.ended_error(&seen, interrupted))
            }
            Err(evcxr::Error::TypeRedefinedVariablesLost(names)) => Err(CellError::new(
                "variables lost",
                format!(
                    "A type was defined anew, so these variables are gone: {}. Run the cells that define them again.",
                    names.join(", ")
                ),
            )),
            Err(evcxr::Error::Message(message)) => Err(error::from_evaluator(&message)),
        };
        match outcome {
            // It listened: what it had is shown, and the cells after it must not run.
            Ok(()) if interrupted => Err(CellError::new(
                "interrupted",
                "Interrupted. The cell returned what it had so far; all variables are kept.",
            )),
            other => other,
        }
    }

    fn panic_error(&self, seen: &Seen, ready: &cell::Ready, code: &str) -> CellError {
        let message = seen.panic["message"].as_str().unwrap_or("a panic without a message");
        let (file, line) =
            (seen.panic["file"].as_str().unwrap_or_default(), seen.panic["line"].as_u64().unwrap_or(0));
        // A place in the cell's own compiled text is looked up in the cell by the text of its line.
        let own = (file == "src/lib.rs").then(|| std::fs::read_to_string(&self.source_file).ok()).flatten();
        let own =
            own.and_then(|t| t.lines().nth((line as usize).saturating_sub(1)).map(|l| l.trim().to_owned()));
        let at = own.filter(|l| !l.is_empty()).and_then(|l| ready.code.lines().position(|c| c.trim() == l));
        let text = match at.map(|n| ready.cell_line(n + 1)) {
            Some(n) => {
                let shown = code.lines().nth(n - 1).unwrap_or_default();
                format!(
                    "The cell stopped: {message}\n{n} | {shown}\nVariables defined before this cell are kept."
                )
            }
            None => format!("The cell stopped: {message}\nVariables defined before this cell are kept."),
        };
        let first = message.lines().next().unwrap_or_default().to_owned();
        CellError { name: "panic".to_owned(), message: first, text, compiler: None, variables_lost: false }
    }

    fn ended_error(&self, seen: &Seen, interrupted: bool) -> CellError {
        let again =
            "All variables are gone; definitions of functions and types are kept. Run the cells above again.";
        // The prelude's settings lived in the process that ended.
        if interrupted {
            return CellError::fatal(
                "interrupted",
                format!(
                    "Interrupted. The cell did not listen (a loop that never calls `cancelled()`), so its process was ended.\n{again}"
                ),
            );
        }
        let how = seen.ended.as_deref().unwrap_or("for an unknown reason");
        CellError::fatal(
            "evaluator ended",
            format!("The process that runs the cells ended ({how}).\n{again}"),
        )
    }

    /// Names of the variables, functions and types defined so far.
    fn names(&self) -> Vec<String> {
        let items = self.context.iter().flat_map(|c| c.defined_item_names().map(str::to_owned));
        self.variables().into_iter().chain(items).collect()
    }

    /// Names of the variables defined so far.
    fn variables(&self) -> Vec<String> {
        self.context.iter().flat_map(|c| c.variables_and_types().map(|(n, _)| n.to_owned())).collect()
    }

    /// Asks the analyser, which may panic over half a line; then nothing is known, and the session goes on.
    fn ask<T, E>(&mut self, question: impl FnOnce(&mut CommandContext) -> Result<T, E>) -> Option<T> {
        let context = self.context.as_mut()?;
        std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| question(context).ok())).ok().flatten()
    }

    /// What can stand at a place of the code, counted in bytes.
    pub fn completions(&mut self, code: &str, at: usize) -> Option<Choices> {
        let plain = |session: &mut Self| session.ask(|context| context.completions(code, at));
        let found = if units::call_around(code, at).is_some() {
            self.completions_of_statement(code, at).or_else(|| plain(self))
        } else {
            plain(self).or_else(|| self.completions_of_statement(code, at))
        }?;
        let ours = |code: &str| !code.contains("evcxr");
        let choices = found.completions.into_iter().filter(|c| ours(&c.code));
        let choices = choices.map(|c| Choice { code: c.code, kind: c.kind, label: c.label });
        Some(Choices { from: found.start_offset, to: found.end_offset, choices: choices.collect() })
    }

    /// The same with the word made a statement: where a type is expected the analyser also searches for terms of
    /// that type, which is slow and, among the library's own units, can end in a panic of the analyser.
    fn completions_of_statement(&mut self, code: &str, at: usize) -> Option<Completions> {
        let part = |c: char| c.is_alphanumeric() || c == '_' || c == ':';
        let from = code.get(..at)?.trim_end_matches(part).len();
        let to = code.len() - code[at..].trim_start_matches(part).len();
        if code[..from].ends_with('.') {
            return None;
        }
        let stated = format!("{}{{{};{}", &code[..from], &code[from..to], &code[to..]);
        let mut found = self.ask(|context| context.completions(&stated, at + 1))?;
        found.start_offset = found.start_offset.checked_sub(1)?;
        found.end_offset = found.end_offset.checked_sub(1)?;
        Some(found)
    }

    /// What is known about the name before a place of the code, as text and HTML.
    pub fn hover(&mut self, code: &str, at: usize) -> Option<(String, String)> {
        let found = self.ask(|context| context.hover_at(code, at))?;
        (found.0 != "No documentation found").then_some(found)
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        // A cell in an endless loop never reads that its time has come.
        signal(self.state.pid.load(Ordering::SeqCst), Signal::Kill);
    }
}

/// What came out of a cell besides what is handed on.
#[derive(Default)]
struct Seen {
    panic: Value,
    panicked: bool,
    returned_error: bool,
    asked: bool,
    ended: Option<String>,
    stderr: String,
}

impl Seen {
    fn take(&mut self, line: &str, state: &State, sink: &mut dyn FnMut(Output)) {
        let Some(message) = line.strip_prefix(wire::MARK).and_then(|m| serde_json::from_str::<Value>(m).ok())
        else {
            return sink(Output::Stdout(format!("{line}\n")));
        };
        let text = |key: &str| message[key].as_str().unwrap_or_default().to_owned();
        match message["kind"].as_str().unwrap_or_default() {
            "stdout" => sink(Output::Stdout(text("text"))),
            "stderr" => {
                self.stderr.push_str(&text("text"));
                sink(Output::Stderr(text("text")));
            }
            "display" => sink(Output::Display {
                data: message["data"].clone(),
                id: message["id"].as_str().map(str::to_owned),
            }),
            "update" => sink(Output::Update { data: message["data"].clone(), id: text("id") }),
            "result" => sink(Output::Result(message["data"].clone())),
            "clear" => sink(Output::Clear(message["wait"].as_bool().unwrap_or(false))),
            "started" => state.pid.store(
                message["pid"].as_u64().and_then(|p| u32::try_from(p).ok()).unwrap_or(0),
                Ordering::SeqCst,
            ),
            "running" => state.running.store(true, Ordering::SeqCst),
            "panic" => self.panic = message,
            "panicked" => self.panicked = true,
            "returned error" => self.returned_error = true,
            "asked" => self.asked = true,
            "ended" => self.ended = Some(text("how")),
            _ => {}
        }
    }

    fn take_lines(&mut self, lines: &str, state: &State, sink: &mut dyn FnMut(Output)) {
        for line in lines.lines().filter(|l| l.starts_with(wire::MARK)) {
            self.take(line, state, sink);
        }
    }

    fn last_error_line(&self) -> &str {
        self.stderr.trim_end().lines().last().unwrap_or("an error")
    }
}
