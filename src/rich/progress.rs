//! A bar with the time left, in a notebook and in a terminal.

use super::show::{Live, Reader, live, reader};
use super::wire::PROGRESS;
use super::{Bundle, Rich, cancelled, escape_html};
use std::io::{IsTerminal, Write};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Redrawing more often than this only costs time.
const REDRAW: Duration = Duration::from_millis(100);

/// Progress of work whose number of steps is known. Steps may be counted from any thread.
///
/// ```
/// let bar = railrise::rich::Progress::new("draws", 1000);
/// for _ in 0..1000 {
///     if !bar.step() { break } // false once the reader interrupted
/// }
/// assert_eq!(bar.done(), 1000);
/// ```
#[derive(Debug)]
pub struct Progress {
    label: String,
    total: u64,
    done: AtomicU64,
    start: Instant,
    drawn: Mutex<Drawn>,
}

#[derive(Debug)]
struct Drawn {
    last: Instant,
    place: Option<Live>,
    finished: bool,
}

impl Progress {
    /// Starts counting; the bar appears when the work takes longer than a moment.
    pub fn new(label: impl Into<String>, total: usize) -> Progress {
        let start = Instant::now();
        let drawn = Mutex::new(Drawn { last: start, place: None, finished: false });
        Progress { label: label.into(), total: total as u64, done: AtomicU64::new(0), start, drawn }
    }

    /// Counts one step. Returns whether to go on: `false` once the reader interrupted.
    pub fn step(&self) -> bool {
        self.steps(1)
    }

    /// Counts several steps at once. Returns whether to go on.
    pub fn steps(&self, n: usize) -> bool {
        self.done.fetch_add(n as u64, Ordering::Relaxed);
        // Who finds the bar busy leaves the drawing to the other thread.
        if let Ok(mut drawn) = self.drawn.try_lock()
            && drawn.last.elapsed() >= REDRAW
        {
            self.draw(&mut drawn);
        }
        !cancelled()
    }

    /// Steps counted so far.
    pub fn done(&self) -> usize {
        self.done.load(Ordering::Relaxed) as usize
    }

    /// The time left at the rate so far; none before the first step.
    pub fn time_left(&self) -> Option<Duration> {
        let done = self.done.load(Ordering::Relaxed);
        let left = self.total.saturating_sub(done);
        (done > 0).then(|| self.start.elapsed().mul_f64(left as f64 / done as f64))
    }

    fn draw(&self, drawn: &mut Drawn) {
        drawn.last = Instant::now();
        match reader() {
            Reader::Ours => match &drawn.place {
                Some(place) => place.update(self),
                None => drawn.place = Some(live(PROGRESS, self)),
            },
            Reader::Terminal if std::io::stderr().is_terminal() => {
                let _ = write!(std::io::stderr(), "\r\x1b[2K{}", self.sentence());
            }
            _ => {}
        }
    }

    fn sentence(&self) -> String {
        let (done, total) = (self.done.load(Ordering::Relaxed), self.total);
        let percent = if total == 0 { 100.0 } else { 100.0 * done as f64 / total as f64 };
        let time = if done >= total {
            format!("took {}", in_words(self.start.elapsed()))
        } else if cancelled() {
            "interrupted".to_owned()
        } else {
            self.time_left().map_or_else(|| "starting".to_owned(), |t| format!("{} left", in_words(t)))
        };
        format!("{}: {done} of {total} ({percent:.0} %), {time}", self.label)
    }
}

impl Rich for Progress {
    fn rich(&self) -> Bundle {
        let sentence = self.sentence();
        let html = format!(
            "<div><progress max=\"{}\" value=\"{}\" style=\"width:20em\"></progress> {}</div>",
            self.total.max(1),
            self.done.load(Ordering::Relaxed),
            escape_html(&sentence)
        );
        Bundle::text(sentence).html(html)
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Ok(mut drawn) = self.drawn.lock()
            && !drawn.finished
            && self.start.elapsed() >= REDRAW
        {
            drawn.finished = true;
            self.draw(&mut drawn);
            if reader() == Reader::Terminal && std::io::stderr().is_terminal() {
                eprintln!();
            }
        }
    }
}

/// Walks through `items` with a bar, and stops early when the reader interrupts.
///
/// ```
/// use railrise::rich::progress;
/// let sum: u32 = progress("adding", 0..10u32).sum();
/// assert_eq!(sum, 45);
/// ```
pub fn progress<I>(label: impl Into<String>, items: I) -> impl Iterator<Item = I::Item>
where
    I: IntoIterator,
    I::IntoIter: ExactSizeIterator,
{
    let items = items.into_iter();
    let bar = Progress::new(label, items.len());
    let mut go_on = true;
    items.map_while(move |item| {
        let go = go_on;
        go_on = bar.step();
        go.then_some(item)
    })
}

/// A duration as people say it.
fn in_words(time: Duration) -> String {
    let s = time.as_secs_f64();
    match s {
        s if s < 10.0 => format!("{s:.1} s"),
        s if s < 120.0 => format!("{s:.0} s"),
        s => format!("{:.0} min", s / 60.0),
    }
}
