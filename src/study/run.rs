//! The run loop: blocks handed out in order, so that what is done is always the first part of the plan.
use super::error::StudyError;
use super::model::{Block, Failure, Model};
use super::plan::{Filler, Plan, in_words};
use super::runs::{End, Ledger, Runs};
use std::fmt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// How far a run has come.
#[derive(Clone, Debug)]
pub struct Progress {
    /// Runs done, those of an earlier part included.
    pub done: u64,
    /// Runs in the plan.
    pub total: u64,
    /// Runs that gave no answer so far.
    pub failed: u64,
    /// Time since this part began.
    pub elapsed: Duration,
    /// Time still to go at the pace so far.
    pub left: Option<Duration>,
}

impl fmt::Display for Progress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {} runs", self.done, self.total)?;
        if self.failed > 0 {
            write!(f, ", {} without an answer", self.failed)?;
        }
        if let Some(left) = self.left {
            write!(f, ", about {} left", in_words(left))?;
        }
        Ok(())
    }
}

/// What a run listens to and whom it tells.
#[derive(Clone, Copy, Default)]
pub struct Control<'a> {
    /// Once true, blocks under way are finished, no new one is begun, and what is done is kept.
    pub cancel: Option<&'a AtomicBool>,
    /// Told about ten times a second.
    pub observer: Option<&'a (dyn Fn(&Progress) + Sync)>,
    /// Pause once at least this many runs are done, to look at first results and go on later.
    pub pause_after: Option<u64>,
}

impl Plan {
    /// Runs the plan to its end.
    pub fn run(&self, model: &dyn Model) -> Result<Runs, StudyError> {
        self.run_with(model, &Control::default())
    }

    /// Runs the plan under control of a cancel flag and an observer.
    pub fn run_with(&self, model: &dyn Model, control: &Control<'_>) -> Result<Runs, StudyError> {
        Runs::empty(self)?.resume(model, control)
    }
}

struct Shared {
    columns: Vec<Vec<f64>>,
    ledger: Ledger,
    done: u64,
    told: Instant,
}

impl Runs {
    /// Goes on where the runs stopped. The result has the same digits as a run without a stop.
    pub fn resume(mut self, model: &dyn Model, control: &Control<'_>) -> Result<Runs, StudyError> {
        let plan = self.plan().clone();
        plan.matches(model)?;
        let filler = Filler::new(&plan)?;
        let (total, block_len) = (plan.runs(), plan.block());
        let first = self.done();
        let started = Instant::now();
        let next = AtomicU64::new(first / block_len);
        let target = control.pause_after.unwrap_or(total).min(total);
        for column in &mut self.columns {
            column.resize(total as usize, f64::NAN);
        }
        let shared = Mutex::new(Shared {
            columns: std::mem::take(&mut self.columns),
            ledger: self.ledger(),
            done: first,
            told: started,
        });
        let lock = || shared.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        rayon::broadcast(|_| {
            let mut worker = model.worker();
            let mut block = Block::new(plan.inputs.len(), plan.outputs.len(), block_len as usize);
            loop {
                if control.cancel.is_some_and(|c| c.load(Ordering::Relaxed)) {
                    return;
                }
                let start = next.fetch_add(1, Ordering::Relaxed) * block_len;
                if start >= target {
                    return;
                }
                block.reset((total - start).min(block_len) as usize);
                filler.fill(start, &mut block.input_columns());
                if catch_unwind(AssertUnwindSafe(|| worker.run_block(&mut block))).is_err() {
                    // Find the run that panicked; the others still count.
                    let len = block.len();
                    block.reset(len);
                    for row in 0..len {
                        let one = AssertUnwindSafe(|| {
                            let mut fresh = model.worker();
                            block.run_row(row, |x, y| fresh.run(x, y));
                        });
                        if let Err(panic) = catch_unwind(one) {
                            let detail = panic
                                .downcast_ref::<String>()
                                .cloned()
                                .or_else(|| panic.downcast_ref::<&str>().map(|s| s.to_string()))
                                .unwrap_or_default();
                            block.fail(row, Failure::new("the model panicked", detail));
                        }
                    }
                    worker = model.worker();
                }
                for (j, output) in plan.outputs.iter().enumerate() {
                    for row in 0..block.len() {
                        if block.output(j)[row].is_nan() && !block.has_failed(row) {
                            block.fail(row, Failure::new("an output is not a number", output.name.clone()));
                        }
                    }
                }
                let mut state = lock();
                for (j, column) in state.columns.iter_mut().enumerate() {
                    column[start as usize..][..block.len()].copy_from_slice(block.output(j));
                }
                for (row, failure) in block.take_failures() {
                    state.ledger.note(start + row as u64, failure);
                }
                state.done += block.len() as u64;
                if let Some(observer) = control.observer {
                    let last = state.done >= target;
                    if last || state.told.elapsed() > Duration::from_millis(100) {
                        state.told = Instant::now();
                        let elapsed = started.elapsed();
                        let pace = elapsed.as_secs_f64() / (state.done - first) as f64;
                        observer(&Progress {
                            done: state.done,
                            total,
                            failed: state.ledger.len(),
                            elapsed,
                            left: Some(Duration::from_secs_f64(pace * (total - state.done) as f64)),
                        });
                    }
                }
            }
        });
        let mut state = shared.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
        let done = state.done;
        for column in &mut state.columns {
            column.truncate(done as usize);
        }
        self.columns = state.columns;
        self.settle(state.ledger);
        self.end = if done == total {
            End::Complete
        } else if control.cancel.is_some_and(|c| c.load(Ordering::Relaxed)) {
            End::Cancelled
        } else {
            End::Paused
        };
        self.seconds += started.elapsed().as_secs_f64();
        Ok(self)
    }
}
