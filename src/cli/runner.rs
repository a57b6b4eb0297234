//! One evaluator for all notebooks of a command, restarted clean before each.

use super::files::Job;
use super::run::Screen;
use crate::kernel::headless::{self, Report};
use crate::kernel::prepare::{self, Prepared};
use crate::kernel::session::Session;

/// Runs notebooks one after the other and tells how far it is.
pub struct Runner {
    // Before its working folder goes.
    session: Option<Session>,
    prepared: Prepared,
    pub screen: Screen,
}

impl Runner {
    /// Gets the machine ready.
    pub fn new() -> Result<Runner, String> {
        Ok(Runner { session: None, prepared: prepare::enter()?, screen: Screen::new() })
    }

    /// Runs one notebook from a clean state; its outputs go into it.
    pub fn run(&mut self, job: &mut Job) -> Result<Report, String> {
        let Runner { session, prepared, screen } = self;
        let folder = job.folder();
        let session = match session {
            Some(session) => {
                session.restart(&folder)?;
                session
            }
            None => session.insert(Session::start(prepared, &folder, &mut |m| screen.line(m))?),
        };
        headless::run(session, &mut job.notebook, &mut |e| screen.event(&e))
    }
}
