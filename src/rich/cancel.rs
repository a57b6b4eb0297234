//! The interrupt flag that long work looks at, so that a reader who interrupts keeps everything.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};

fn flag() -> &'static Arc<AtomicUsize> {
    static FLAG: OnceLock<Arc<AtomicUsize>> = OnceLock::new();
    FLAG.get_or_init(Arc::default)
}

/// Whether the reader asked to stop. Long loops look here between steps and return what they have.
pub fn cancelled() -> bool {
    flag().load(Ordering::Relaxed) != 0
}

/// Asks running work to stop, as an interrupt does.
pub fn cancel() {
    flag().store(1, Ordering::Relaxed);
}

/// Takes the request back, so that the next piece of work runs.
pub fn resume() {
    flag().store(0, Ordering::Relaxed);
}

/// Turns the interrupt signal (Ctrl-C, or *interrupt* in a notebook) into the flag that
/// [`cancelled`] reads. With `second_ends` a second interrupt ends the program at once, which is
/// what a terminal user expects.
///
/// # Errors
/// When the operating system refuses the handler.
pub fn listen_for_interrupt(second_ends: bool) -> std::io::Result<()> {
    use signal_hook::consts::SIGINT;
    if second_ends {
        static PRESSED: OnceLock<Arc<std::sync::atomic::AtomicBool>> = OnceLock::new();
        let pressed = PRESSED.get_or_init(Arc::default);
        // Order matters: the first press finds `pressed` false and only then sets it.
        signal_hook::flag::register_conditional_shutdown(SIGINT, 130, Arc::clone(pressed))?;
        signal_hook::flag::register(SIGINT, Arc::clone(pressed))?;
    }
    signal_hook::flag::register_usize(SIGINT, Arc::clone(flag()), 1)?;
    // The kernel takes an interrupt back with this signal once the cell has ended.
    #[cfg(unix)]
    signal_hook::flag::register_usize(signal_hook::consts::SIGUSR1, Arc::clone(flag()), 0)?;
    Ok(())
}
