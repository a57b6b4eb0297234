//! The kernel's desk: takes requests one after the other and answers them.
//!
//! It runs on a thread of its own, so that the sockets stay alive while a cell computes.

use super::cell::{self, Completeness};
use super::error::CellError;
use super::message::Message;
use super::prepare::Prepared;
use super::session::{Choice, Choices, Interrupter, Output, Session};
use super::units;
use serde_json::{Value, json};
use std::collections::VecDeque;
use std::sync::mpsc::Receiver;
use std::sync::{Arc, Mutex, PoisonError};

/// A way out for what the desk says.
pub trait Voice: Send + Sync {
    /// For everybody, about the request with this header.
    fn publish(&self, parent: &Value, kind: &str, content: Value);
    /// The answer to a request.
    fn reply(&self, request: &Message, kind: &str, content: Value);
}

/// Where the running session's interrupter is found, once there is one.
pub type Reach = Arc<Mutex<Option<Interrupter>>>;

/// One executed cell, for the history.
#[derive(Clone, Debug)]
struct Past {
    count: u64,
    input: String,
    output: Option<String>,
}

/// The desk.
pub struct Desk<'a> {
    prepared: &'a Prepared,
    voice: &'a dyn Voice,
    reach: Reach,
    session: Option<Session>,
    count: u64,
    past: Vec<Past>,
    waiting: VecDeque<Message>,
}

impl<'a> Desk<'a> {
    /// A desk that has no session yet.
    pub fn new(prepared: &'a Prepared, voice: &'a dyn Voice, reach: Reach) -> Desk<'a> {
        Desk { prepared, voice, reach, session: None, count: 0, past: Vec::new(), waiting: VecDeque::new() }
    }

    /// Starts the session, then answers until the requests end.
    pub fn work(&mut self, requests: &Receiver<Message>) {
        if let Err(error) = self.open(Some(requests)) {
            eprintln!("railrise: {error}");
        }
        loop {
            let next = self.waiting.pop_front().or_else(|| requests.recv().ok());
            let Some(request) = next else { return };
            self.waiting.extend(requests.try_iter());
            self.answer(&request, requests);
        }
    }

    /// Starts the session; tells a waiting cell what takes so long.
    fn open(&mut self, requests: Option<&Receiver<Message>>) -> Result<(), String> {
        let (waiting, voice) = (&mut self.waiting, self.voice);
        let mut tell = |text: &str| {
            eprintln!("railrise: {text}");
            waiting.extend(requests.into_iter().flat_map(Receiver::try_iter));
            if let Some(cell) = waiting.iter().find(|m| m.kind() == "execute_request") {
                voice.publish(&cell.header, "stream", json!({"name": "stderr", "text": format!("{text}\n")}));
            }
        };
        let session = Session::start(self.prepared, &self.prepared.started_in, &mut tell)?;
        *self.reach.lock().unwrap_or_else(PoisonError::into_inner) = Some(session.interrupter());
        self.session = Some(session);
        Ok(())
    }

    fn answer(&mut self, request: &Message, requests: &Receiver<Message>) {
        self.voice.publish(&request.header, "status", json!({"execution_state": "busy"}));
        match request.kind() {
            "execute_request" => self.execute(request, requests),
            "complete_request" => self.complete(request),
            "inspect_request" => self.inspect(request),
            "is_complete_request" => self.is_complete(request),
            "history_request" => self.history(request),
            "comm_info_request" => {
                self.voice.reply(request, "comm_info_reply", json!({"status": "ok", "comms": {}}))
            }
            // No part of this kernel listens to widgets' channels; the protocol's answer is to close them.
            "comm_open" => {
                let id = &request.content["comm_id"];
                self.voice.publish(&request.header, "comm_close", json!({"comm_id": id, "data": {}}));
            }
            "comm_msg" | "comm_close" => {}
            other => eprintln!("railrise: a message of type `{other}` is not known here"),
        }
        self.voice.publish(&request.header, "status", json!({"execution_state": "idle"}));
    }

    fn execute(&mut self, request: &Message, requests: &Receiver<Message>) {
        let content = &request.content;
        let code = content["code"].as_str().unwrap_or_default().to_owned();
        let silent = content["silent"].as_bool().unwrap_or(false);
        let stored = !silent && content["store_history"].as_bool().unwrap_or(true);
        if stored {
            self.count += 1;
        }
        let (count, voice, header) = (self.count, self.voice, &request.header);
        if !silent {
            voice.publish(header, "execute_input", json!({"code": code, "execution_count": count}));
        }
        let help = [":help", ":doc", ":explain"].iter().any(|c| code.trim_start().starts_with(c));
        let mut pages = Vec::new();
        let mut result = None;
        let ended = match self.ready() {
            Ok(session) => session.execute(&code, &mut |output| {
                if let Output::Result(data) = &output
                    && help
                {
                    // Help is read beside the notebook, not in it.
                    pages.push(json!({"source": "page", "data": data, "start": 0}));
                } else if let Output::Result(data) = &output
                    && result.is_none()
                {
                    result = Some(data["text/plain"].as_str().unwrap_or_default().to_owned());
                    if !silent {
                        let content = json!({"data": data, "metadata": {}, "execution_count": count});
                        voice.publish(header, "execute_result", content);
                    }
                } else if !silent {
                    say(voice, header, output);
                }
            }),
            Err(error) => Err(CellError::fatal("evaluator lost", error)),
        };
        if stored {
            self.past.push(Past { count, input: code, output: result });
        }
        match ended {
            Ok(()) => {
                let answers = self.expressions(&content["user_expressions"]);
                let content = json!({
                    "status": "ok", "execution_count": count, "user_expressions": answers, "payload": pages,
                });
                voice.reply(request, "execute_reply", content);
            }
            Err(error) => {
                let said =
                    json!({"ename": error.name, "evalue": error.message, "traceback": traceback(&error)});
                if !silent {
                    voice.publish(header, "error", said.clone());
                    if let Some(compiler) = &error.compiler {
                        voice.publish(
                            header,
                            "display_data",
                            json!({"data": folded(compiler), "metadata": {}, "transient": {}}),
                        );
                    }
                }
                let mut content = said;
                content["status"] = "error".into();
                content["execution_count"] = count.into();
                voice.reply(request, "execute_reply", content);
                if request.content["stop_on_error"].as_bool().unwrap_or(true) {
                    self.abort_waiting(requests);
                }
            }
        }
    }

    /// The session, started anew when it is gone.
    fn ready(&mut self) -> Result<&mut Session, String> {
        if self.session.is_none() {
            self.open(None)?;
        }
        self.session.as_mut().ok_or_else(|| "the evaluator is not running".to_owned())
    }

    /// Cells that were sent together with the one that failed do not run.
    fn abort_waiting(&mut self, requests: &Receiver<Message>) {
        // A client sends the cells of "run all" in one go; give the last of them time to arrive.
        std::thread::sleep(std::time::Duration::from_millis(20));
        self.waiting.extend(requests.try_iter());
        let (aborted, kept) = self.waiting.drain(..).partition(|m: &Message| m.kind() == "execute_request");
        self.waiting = kept;
        let aborted: VecDeque<Message> = aborted;
        for request in &aborted {
            self.voice.publish(&request.header, "status", json!({"execution_state": "busy"}));
            self.voice.reply(
                request,
                "execute_reply",
                json!({"status": "aborted", "execution_count": self.count}),
            );
            self.voice.publish(&request.header, "status", json!({"execution_state": "idle"}));
        }
    }

    fn expressions(&mut self, wanted: &Value) -> Value {
        let mut answers = serde_json::Map::new();
        for (name, code) in wanted.as_object().into_iter().flatten() {
            let mut data = json!({});
            let ended = self.ready().map_err(|e| CellError::new("error", e)).and_then(|session| {
                session.execute(code.as_str().unwrap_or_default(), &mut |o| {
                    if let Output::Result(value) = o {
                        data = value;
                    }
                })
            });
            let answer = match ended {
                Ok(()) => json!({"status": "ok", "data": data, "metadata": {}}),
                Err(e) => {
                    json!({"status": "error", "ename": e.name, "evalue": e.message, "traceback": traceback(&e)})
                }
            };
            answers.insert(name.clone(), answer);
        }
        answers.into()
    }

    fn complete(&mut self, request: &Message) {
        let (code, at) = code_and_place(&request.content);
        let mut found = self.session.as_mut().and_then(|s| s.completions(&code, at)).unwrap_or_default();
        if let Some(session) = &mut self.session {
            put_units_first(session, &code, at, &mut found);
        }
        let chars = |byte: usize| code.get(..byte).unwrap_or(&code).chars().count();
        let (start, end) = match found.choices.is_empty() {
            true => (chars(at), chars(at)),
            false => (chars(found.from), chars(found.to)),
        };
        let kind = |c: &Choice| json!({"text": c.code, "type": c.kind, "signature": c.label, "start": start, "end": end});
        let content = json!({
            "status": "ok", "cursor_start": start, "cursor_end": end,
            "matches": found.choices.iter().map(|c| c.code.as_str()).collect::<Vec<_>>(),
            "metadata": {"_jupyter_types_experimental": found.choices.iter().map(kind).collect::<Vec<_>>()},
        });
        self.voice.reply(request, "complete_reply", content);
    }

    fn inspect(&mut self, request: &Message) {
        let (code, at) = code_and_place(&request.content);
        // The name under the cursor counts as a whole.
        let rest = code[at..].find(|c: char| !c.is_alphanumeric() && c != '_').map_or(code.len(), |n| at + n);
        let found = self.session.as_mut().and_then(|s| s.hover(&code, rest));
        let content = match found {
            Some((text, html)) => {
                let (text, html) = with_units(text, &html);
                json!({"status": "ok", "found": true, "data": {"text/plain": text, "text/html": html}, "metadata": {}})
            }
            None => json!({"status": "ok", "found": false, "data": {}, "metadata": {}}),
        };
        self.voice.reply(request, "inspect_reply", content);
    }

    fn is_complete(&self, request: &Message) {
        let code = request.content["code"].as_str().unwrap_or_default();
        let content = match cell::completeness(code) {
            Completeness::Complete => json!({"status": "complete"}),
            Completeness::Incomplete => {
                let depth = code
                    .matches(['(', '[', '{'])
                    .count()
                    .saturating_sub(code.matches([')', ']', '}']).count());
                json!({"status": "incomplete", "indent": "    ".repeat(depth)})
            }
            Completeness::Invalid => json!({"status": "invalid"}),
        };
        self.voice.reply(request, "is_complete_reply", content);
    }

    fn history(&self, request: &Message) {
        let wanted = &request.content;
        let number = |key: &str| wanted[key].as_i64();
        let mut found: Vec<&Past> = self.past.iter().collect();
        match wanted["hist_access_type"].as_str() {
            Some("range") => {
                let start = number("start").unwrap_or(0);
                let stop = number("stop").unwrap_or(i64::MAX);
                found.retain(|p| (start..stop).contains(&(p.count as i64)));
            }
            Some("search") => {
                let pattern = wanted["pattern"].as_str().unwrap_or("*");
                found.retain(|p| glob(pattern, &p.input));
                if wanted["unique"].as_bool().unwrap_or(false) {
                    let mut seen = std::collections::HashSet::new();
                    found.reverse();
                    found.retain(|p| seen.insert(p.input.clone()));
                    found.reverse();
                }
            }
            _ => {}
        }
        if wanted["hist_access_type"] != "range"
            && let Some(n) = number("n").and_then(|n| usize::try_from(n).ok())
        {
            found.drain(..found.len().saturating_sub(n));
        }
        let with_output = wanted["output"].as_bool().unwrap_or(false);
        let line = |p: &&Past| match with_output {
            true => json!([0, p.count, [p.input, p.output]]),
            false => json!([0, p.count, p.input]),
        };
        let content = json!({"status": "ok", "history": found.iter().map(line).collect::<Vec<_>>()});
        self.voice.reply(request, "history_reply", content);
    }
}

/// Offers the words that make what the argument under the cursor takes before everything else.
fn put_units_first(session: &mut Session, code: &str, at: usize, found: &mut Choices) {
    let Some((called, number)) = units::call_around(code, at) else { return };
    let Some((signature, _)) = session.hover(code, called) else { return };
    let Some((parameter, makers)) = units::of_argument(&signature, number) else { return };
    if found.choices.is_empty() {
        (found.from, found.to) = (at, at);
    }
    let begun = code.get(found.from..at).unwrap_or_default();
    let fit = makers.iter().filter(|(make, ..)| make.starts_with(begun));
    let place = if of_cells(&signature) { "" } else { "railrise::quantity::" };
    let first: Vec<Choice> = fit
        .map(|(make, words, _)| Choice {
            code: format!("{place}{make}(1.0)"),
            kind: "function",
            label: format!("{parameter}: {make}(…) in {words}"),
        })
        .collect();
    found.choices.retain(|c| !makers.iter().any(|(make, ..)| c.code.starts_with(&format!("{make}("))));
    found.choices.splice(0..0, first);
}

/// Whether it is a word of cells, by what the analyser says of it; the library below takes its own quantities.
fn of_cells(known: &str) -> bool {
    known.starts_with("railrise::workshop")
}

/// What the analyser knows about a name, with the units its parameters take. Its headings are set off in the plain
/// text, and its links, which would lead out of the machine, are plain words.
fn with_units(mut text: String, html: &str) -> (String, String) {
    for heading in html.split("<h1>").skip(1).filter_map(|h| h.split("</h1>").next()) {
        text = text.replacen(&format!("\n\n{heading}"), &format!("\n\n{heading}: "), 1);
    }
    let mut parts = html.split("<a href=");
    let mut html = parts.next().unwrap_or_default().to_owned();
    parts.for_each(|p| html.push_str(p.split_once('>').map_or("", |(_, rest)| rest)));
    html = html.replace("</a>", "");

    let parameters: Vec<String> =
        units::of_parameters(&text).iter().map(|(name, words)| format!("{name} takes {words}")).collect();
    let place = if of_cells(&text) { "" } else { " (of railrise::quantity)" };
    let parameters = (!parameters.is_empty()).then(|| format!("Units{place}: {}.", parameters.join("; ")));
    let maker = text.strip_prefix("railrise::workshop::measure\n").and_then(units::of_maker);
    for words in parameters.into_iter().chain(maker) {
        text.push_str(&format!("\n\n{words}"));
        html.push_str(&format!("<p>{}</p>\n", railrise::rich::escape_html(&words)));
    }
    (text, html)
}

/// Puts one output of a cell on the page.
fn say(voice: &dyn Voice, header: &Value, output: Output) {
    match output {
        Output::Stdout(text) => voice.publish(header, "stream", json!({"name": "stdout", "text": text})),
        Output::Stderr(text) => voice.publish(header, "stream", json!({"name": "stderr", "text": text})),
        Output::Display { data, id } => {
            let transient = id.map_or_else(|| json!({}), |id| json!({"display_id": id}));
            voice.publish(
                header,
                "display_data",
                json!({"data": data, "metadata": {}, "transient": transient}),
            );
        }
        Output::Update { data, id } => {
            let content = json!({"data": data, "metadata": {}, "transient": {"display_id": id}});
            voice.publish(header, "update_display_data", content);
        }
        Output::Result(data) => {
            voice.publish(header, "display_data", json!({"data": data, "metadata": {}, "transient": {}}));
        }
        Output::Clear(wait) => voice.publish(header, "clear_output", json!({"wait": wait})),
    }
}

fn traceback(error: &CellError) -> Vec<String> {
    error.text.lines().map(str::to_owned).collect()
}

/// The compiler's own words, one click away.
fn folded(compiler: &str) -> Value {
    let html = format!(
        "<details><summary>What the compiler says</summary><pre>{}</pre></details>",
        railrise::rich::escape_html(compiler)
    );
    json!({"text/plain": compiler, "text/html": html})
}

/// Code and cursor of a request; the protocol counts characters, the analyser bytes.
fn code_and_place(content: &Value) -> (String, usize) {
    let code = content["code"].as_str().unwrap_or_default().to_owned();
    let chars = content["cursor_pos"].as_u64().and_then(|n| usize::try_from(n).ok()).unwrap_or(usize::MAX);
    let at = code.char_indices().nth(chars).map_or(code.len(), |(byte, _)| byte);
    (code, at)
}

/// Whether a text matches a pattern with `*` and `?`.
fn glob(pattern: &str, text: &str) -> bool {
    let mut here: Vec<bool> = vec![true];
    let text: Vec<char> = text.chars().collect();
    here.resize(text.len() + 1, false);
    for p in pattern.chars() {
        let mut next = vec![false; text.len() + 1];
        for n in 0..=text.len() {
            next[n] = match p {
                '*' => here[n] || n > 0 && next[n - 1],
                '?' => n > 0 && here[n - 1],
                c => n > 0 && here[n - 1] && text[n - 1] == c,
            };
        }
        here = next;
    }
    here[text.len()]
}

#[cfg(test)]
mod tests {
    use super::glob;

    #[test]
    fn history_patterns() {
        assert!(glob("*rpm*", "let rpm = 1;") && glob("l?t*", "let x") && glob("*", ""));
        assert!(!glob("rpm", "let rpm") && !glob("?", ""));
    }
}
