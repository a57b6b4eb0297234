//! Long work in a cell: a bar with the time left, and an interrupt that keeps what is done.

use crate::rich::{Progress, cancelled};
use crate::study::Control;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

/// Runs of one plan and of those before it.
#[derive(Default)]
struct Count {
    now: u64,
    before: u64,
}

/// Does work of about `total` runs, of one plan or several, under a bar; an interrupt is handed on.
pub(super) fn watched<T>(title: String, total: u64, work: impl FnOnce(&Control<'_>) -> T) -> T {
    let size = |n: u64| usize::try_from(n).unwrap_or(usize::MAX);
    let bar = Mutex::new((Progress::new(title, size(total)), Count::default()));
    let cancel = AtomicBool::new(false);
    let watch = |p: &crate::study::Progress| {
        if let Ok(mut held) = bar.lock() {
            let (bar, count) = &mut *held;
            if p.done < count.now {
                count.before += count.now;
            }
            count.now = p.done;
            bar.steps(size(count.before + count.now).saturating_sub(bar.done()));
        }
        if cancelled() {
            cancel.store(true, Ordering::Relaxed);
        }
    };
    work(&Control { cancel: Some(&cancel), observer: Some(&watch), ..Control::default() })
}
