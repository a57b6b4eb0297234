//! One evaluator for all notebooks of a command, restarted clean before each.

use super::files::Job;
use super::run::Screen;
use crate::kernel::headless::{self, Report};
use crate::kernel::prepare::{self, Prepared};
use crate::kernel::session::Session;

/// Runs notebooks one after the other and tells how far it is.
pub struct Runner {
    prepared: Prepared,
    session: Option<Session>,
    pub screen: Screen,
}

impl Runner {
    /// Gets the machine ready.
    pub fn new() -> Result<Runner, String> {
        let prepared = prepare::enter().map_err(|e| e.to_string())?;
        Ok(Runner { prepared, session: None, screen: Screen::new() })
    }

    /// Runs one notebook from a clean state; its outputs go into it.
    pub fn run(&mut self, job: &mut Job) -> Result<Report, String> {
        let folder = job.folder();
        match &mut self.session {
            Some(session) => session.restart(&folder).map_err(|e| e.to_string())?,
            None => {
                let screen = &mut self.screen;
                let started = Session::start(&self.prepared, &folder, &mut |m| screen.line(m));
                self.session = Some(started.map_err(|e| e.to_string())?);
            }
        }
        let (Some(session), screen) = (&mut self.session, &mut self.screen) else {
            return Err("the evaluator does not start".to_owned());
        };
        headless::run(session, &mut job.notebook, &mut |e| screen.event(&e))
    }
}
