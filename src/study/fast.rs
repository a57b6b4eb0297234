//! The lanes of the common circuit as a study's worker: many draws side by side, same answers as one by one.

use super::model::{Block, Failure, Worker};
use super::of_build::{Figure, failure, worst};
use super::settings::Settings;
use crate::build::Build;
use crate::steady::Operating;
use crate::steady::lanes::{self, Reduced, Sweep};

/// How a figure follows from what the lanes give at a point.
#[derive(Clone, Debug)]
enum Need {
    /// One of them as it is.
    Plain(usize),
    /// One over another, less one.
    Over(usize, usize),
    /// One less one over a fixed value.
    Short(usize, f64),
    /// The least of several.
    Least(Vec<usize>),
    /// The most of several, each over a fixed value.
    Most(Vec<(usize, f64)>),
}

/// A build that the lanes can carry.
#[derive(Clone, Debug)]
pub(super) struct Fast {
    sweep: Sweep,
    needs: Vec<Need>,
    wanted: usize,
}

impl Fast {
    /// The lanes for a build, or why the general solver is needed.
    pub fn of(
        build: &Build,
        paths: &[&str],
        points: &[Operating],
        figures: &[Figure],
        base: Option<f64>,
        fuses: &[(String, f64)],
    ) -> Result<Self, String> {
        let reduced = Reduced::of(build).ok_or(
            "the circuit is not the common one (pumps from tank to rail, one by-pass regulator behind the rail, one set of \
             injectors, without a wire by gauge or class, a low-pulse table or a map of volumetric efficiency)",
        )?;
        let mut names: Vec<String> = Vec::new();
        let mut want = |name: &str| {
            names.iter().position(|n| n == name).unwrap_or_else(|| {
                names.push(name.to_owned());
                names.len() - 1
            })
        };
        let pumps: Vec<&str> = build.parts_of("pump").map(|(n, _)| n).collect();
        let needs = figures
            .iter()
            .map(|f| match f {
                Figure::Headroom => Need::Plain(want("supply headroom")),
                Figure::LambdaExcess => Need::Over(want("lambda"), want("target lambda")),
                Figure::WorstCylinder => Need::Over(want("worst lambda"), want("target lambda")),
                Figure::DifferenceShortfall => {
                    Need::Short(want("differential pressure"), base.unwrap_or(f64::NAN))
                }
                Figure::Duty => Need::Plain(want("duty")),
                Figure::InletMargin => {
                    Need::Least(pumps.iter().map(|p| want(&format!("{p} inlet margin"))).collect())
                }
                Figure::FuseLoad => {
                    Need::Most(fuses.iter().map(|(p, fuse)| (want(&format!("{p} current")), *fuse)).collect())
                }
                Figure::Smallest(c) | Figure::Largest(c) => Need::Plain(want(c)),
            })
            .collect();
        let wanted: Vec<&str> = names.iter().map(String::as_str).collect();
        let sweep = Sweep::new(&reduced, paths, points, &wanted).map_err(|e| e.to_string())?;
        Ok(Self { sweep, needs, wanted: names.len() })
    }

    /// A worker for one thread; `settings` turns a draw into SI.
    pub fn worker<'m>(
        &'m self,
        figures: &'m [Figure],
        scales: &'m [f64],
        settings: &'m Settings,
    ) -> Box<dyn Worker + 'm> {
        Box::new(FastWorker {
            fast: self,
            lanes: self.sweep.worker(),
            figures,
            scales,
            si: vec![Vec::new(); settings.len()],
            settings,
            raw: vec![Vec::new(); self.sweep.columns()],
        })
    }
}

struct FastWorker<'m> {
    fast: &'m Fast,
    lanes: lanes::Worker<'m>,
    figures: &'m [Figure],
    scales: &'m [f64],
    settings: &'m Settings,
    si: Vec<Vec<f64>>,
    raw: Vec<Vec<f64>>,
}

impl FastWorker<'_> {
    /// Computes `len` draws whose inputs are in `si`; failed draws with their reason.
    fn compute(&mut self, len: usize) -> Vec<(usize, Failure)> {
        self.raw.iter_mut().for_each(|c| c.resize(len, f64::NAN));
        let inputs: Vec<&[f64]> = self.si.iter().map(Vec::as_slice).collect();
        let mut outputs: Vec<&mut [f64]> = self.raw.iter_mut().map(Vec::as_mut_slice).collect();
        let failed = self.lanes.run(len, &inputs, &mut outputs);
        let mut out: Vec<(usize, Failure)> = failed.iter().map(|f| (f.draw, failure(&f.why))).collect();
        out.dedup_by_key(|f| f.0);
        out
    }

    fn value(&self, figure: usize, row: usize) -> f64 {
        let mut answer = f64::NAN;
        for point in self.raw.chunks(self.fast.wanted) {
            let value = match &self.fast.needs[figure] {
                Need::Plain(o) => point[*o][row],
                Need::Over(o, of) => point[*o][row] / point[*of][row] - 1.0,
                Need::Short(o, of) => 1.0 - point[*o][row] / of,
                Need::Least(list) => list.iter().map(|o| point[*o][row]).fold(f64::NAN, f64::min),
                Need::Most(list) => list.iter().map(|(o, of)| point[*o][row] / of).fold(f64::NAN, f64::max),
            } / self.scales[figure];
            if value.is_nan() {
                return f64::NAN;
            }
            answer = worst(&self.figures[figure], answer, value);
        }
        answer
    }

    fn nothing(&self, figure: usize) -> Failure {
        Failure::new(format!("{} has no value", self.figures[figure].name()), "at one of the points")
    }
}

impl Worker for FastWorker<'_> {
    fn run(&mut self, x: &[f64], y: &mut [f64]) -> Result<(), Failure> {
        for (i, si) in self.si.iter_mut().enumerate() {
            si.clear();
            si.push(self.settings.value(i, |j| x[j]));
        }
        if let Some((_, why)) = self.compute(1).into_iter().next() {
            return Err(why);
        }
        for (k, y) in y.iter_mut().enumerate() {
            *y = self.value(k, 0);
            if y.is_nan() {
                return Err(self.nothing(k));
            }
        }
        Ok(())
    }

    fn run_block(&mut self, block: &mut Block) {
        for (i, si) in self.si.iter_mut().enumerate() {
            self.settings.column(i, block, si);
        }
        let len = block.len();
        let failed = self.compute(len);
        for k in 0..self.figures.len() {
            for row in 0..len {
                block.output_mut(k)[row] = self.value(k, row);
            }
        }
        for (row, why) in failed {
            block.fail(row, why);
        }
        for k in 0..self.figures.len() {
            for row in 0..len {
                if block.output(k)[row].is_nan() && !block.has_failed(row) {
                    block.fail(row, self.nothing(k));
                }
            }
        }
    }
}
