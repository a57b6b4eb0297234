//! Draws through operating points: lanes filled, solved, mended where they have not settled, read out.

use super::super::operating::Operating;
use super::super::point::point;
use super::ask::{Ask, Setting};
use super::bracket;
use super::columns::{Car, Fuel, Lanes, Row};
use super::law::seep;
use super::newton::State;
use super::output::{Output, Reading};
use super::reduced::{Layout, Reduced, Slot};
use crate::error::{Error, Kind, Result};
use ndarray::Array3;
use rayon::prelude::*;

/// Draws that are computed side by side.
pub const LANES: usize = 16;
/// Draws that one thread takes at a time.
const CHUNK: usize = 2048;
/// Steps of Newton's method before a lane is mended alone.
const MOST: usize = 12;

/// Which values change from draw to draw, at which operating points, and what is wanted.
#[derive(Clone, Debug)]
pub struct Sweep {
    reduced: Reduced,
    slots: Vec<Slot>,
    fuel_varies: bool,
    settings: Vec<Setting>,
    outputs: Vec<Output>,
    names: Vec<String>,
}

/// How hard the points were.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Effort {
    /// Points asked for.
    pub points: u64,
    /// Points solved side by side.
    pub settled: u64,
    /// Newton steps of those.
    pub steps: u64,
    /// Points that Newton's method solved alone, from a fresh start.
    pub alone: u64,
    /// Points that were bracketed.
    pub bracketed: u64,
    /// Points that the general solver gave.
    pub general: u64,
    /// Points that have no answer; each is kept with its reason.
    pub failed: u64,
}

impl Effort {
    fn add(&mut self, o: &Self) {
        self.points += o.points;
        self.settled += o.settled;
        self.steps += o.steps;
        self.alone += o.alone;
        self.bracketed += o.bracketed;
        self.general += o.general;
        self.failed += o.failed;
    }

    /// Newton steps a point that was solved side by side.
    #[must_use]
    pub fn mean_steps(&self) -> f64 {
        self.steps as f64 / self.settled.max(1) as f64
    }
}

/// A point without an answer.
#[derive(Clone, Debug)]
pub struct Failed {
    /// Which draw.
    pub draw: usize,
    /// Which operating point; `None` when the draw's values are refused for all.
    pub point: Option<usize>,
    /// Why.
    pub why: Error,
}

/// All figures of a sweep.
#[derive(Clone, Debug)]
pub struct Results {
    /// Operating point, output, draw; not-a-number where there is no answer.
    pub values: Array3<f64>,
    /// Points without an answer, in order.
    pub failed: Vec<Failed>,
    /// How hard it was.
    pub effort: Effort,
}

impl Sweep {
    /// A sweep over draws of the values at `paths`, at `points`, for the figures `outputs` (the names of
    /// [`super::super::Point::channels`], and `"supply headroom"`, `"regulator mode"`).
    ///
    /// # Errors
    /// A path, a figure or an operating point that the build does not know.
    pub fn new(reduced: &Reduced, paths: &[&str], points: &[Operating], outputs: &[&str]) -> Result<Self> {
        let slots = paths.iter().map(|p| reduced.slot(p)).collect::<Result<Vec<_>>>()?;
        let mut reduced = reduced.clone();
        reduced.prepare(&slots);
        Ok(Self {
            settings: points.iter().map(|op| Setting::of(&reduced, op)).collect::<Result<_>>()?,
            outputs: outputs.iter().map(|o| Output::of(&reduced, o)).collect::<Result<_>>()?,
            names: outputs.iter().map(|o| (*o).to_owned()).collect(),
            fuel_varies: slots.iter().any(|s| reduced.is_of_fuel(*s)),
            slots,
            reduced,
        })
    }

    /// Columns that a draw gives: operating points times outputs, the outputs of a point together.
    #[must_use]
    pub fn columns(&self) -> usize {
        self.settings.len() * self.outputs.len()
    }

    /// What one thread needs between draws.
    #[must_use]
    pub fn worker(&self) -> Worker<'_> {
        Worker {
            sweep: self,
            values: self.reduced.columns(),
            fuel: Box::new(Fuel::blank()),
            fuel_at: None,
            cars: Box::new(Car::blank()),
            ask: Box::new(Ask::blank()),
            state: Box::new(State::blank()),
            read: vec![Row::<LANES>::of(0.0); self.outputs.len()],
            effort: Effort::default(),
        }
    }

    /// Computes every draw on all cores: `inputs` holds a column of draws for each path.
    ///
    /// # Errors
    /// Columns of different lengths.
    pub fn run(&self, inputs: &[&[f64]]) -> Result<Results> {
        let draws = inputs.first().map_or(1, |c| c.len());
        if inputs.len() != self.slots.len() || inputs.iter().any(|c| c.len() != draws) {
            return Err(Error::new(
                Kind::Value,
                format!(
                    "{} columns of draws for {} values, the first with {draws} draws",
                    inputs.len(),
                    self.slots.len()
                ),
            )
            .next("give one column for each value, all of one length"));
        }
        let mut data = vec![f64::NAN; draws * self.columns()];
        let mut parts: Vec<Vec<&mut [f64]>> = (0..draws.div_ceil(CHUNK)).map(|_| Vec::new()).collect();
        if draws > 0 {
            for column in data.chunks_mut(draws) {
                for (part, piece) in parts.iter_mut().zip(column.chunks_mut(CHUNK)) {
                    part.push(piece);
                }
            }
        }
        let done: Vec<(Vec<Failed>, Effort)> = parts
            .into_par_iter()
            .enumerate()
            .map_init(
                || self.worker(),
                |worker, (c, mut out)| {
                    let first = c * CHUNK;
                    let len = CHUNK.min(draws - first);
                    let columns: Vec<&[f64]> = inputs.iter().map(|x| &x[first..first + len]).collect();
                    worker.effort = Effort::default();
                    let mut failed = worker.run(len, &columns, &mut out);
                    for f in &mut failed {
                        f.draw += first;
                    }
                    (failed, worker.effort)
                },
            )
            .collect();
        let mut effort = Effort::default();
        let mut failed = Vec::new();
        for (f, e) in done {
            effort.add(&e);
            failed.extend(f);
        }
        let shape = (self.settings.len(), self.outputs.len(), draws);
        let values = Array3::from_shape_vec(shape, data).expect("as many columns as figures");
        Ok(Results { values, failed, effort })
    }
}

/// Computes draws on one thread.
#[derive(Debug)]
pub struct Worker<'a> {
    sweep: &'a Sweep,
    /// Every value of the car, a column of lanes each.
    values: Vec<Row<LANES>>,
    fuel: Box<Fuel<LANES>>,
    /// The imposed temperature that the fuel's state was computed for.
    fuel_at: Option<Option<f64>>,
    cars: Box<Car<LANES>>,
    ask: Box<Ask<LANES>>,
    state: Box<State<LANES>>,
    read: Vec<Row<LANES>>,
    /// How hard the draws were so far.
    pub effort: Effort,
}

impl Worker<'_> {
    /// Computes `draws` draws: `inputs` one column a path, `outputs` one column for each operating point and figure
    /// ([`Sweep::columns`]), both of that length. Points without an answer are given back with their reason, their
    /// figures are not-a-number.
    pub fn run(&mut self, draws: usize, inputs: &[&[f64]], outputs: &mut [&mut [f64]]) -> Vec<Failed> {
        let mut failed = Vec::new();
        let mut first = 0;
        while first < draws {
            let lanes = LANES.min(draws - first);
            self.group(first, lanes, inputs, outputs, &mut failed);
            first += lanes;
        }
        failed.sort_by_key(|f| f.draw);
        failed
    }

    /// Takes the values of the draws, the base value where a key refuses one; spare lanes repeat the first.
    fn take(
        &mut self,
        first: usize,
        lanes: usize,
        inputs: &[&[f64]],
        refused: &mut [bool; LANES],
        failed: &mut Vec<Failed>,
    ) {
        let reduced = &self.sweep.reduced;
        for (slot, column) in self.sweep.slots.iter().zip(inputs) {
            let mut drawn = Row::<LANES>::of(column[first]);
            drawn[..lanes].copy_from_slice(&column[first..first + lanes]);
            let refusing = drawn.iter().filter(|x| !reduced.takes(*slot, **x)).count();
            if refusing > 0 {
                for lane in 0..LANES {
                    if !reduced.takes(*slot, drawn[lane]) {
                        if lane < lanes && !refused[lane] {
                            refused[lane] = true;
                            let why = reduced.refusal(*slot, drawn[lane]);
                            failed.push(Failed { draw: first + lane, point: None, why });
                        }
                        drawn[lane] = reduced.value(*slot);
                    }
                }
            }
            self.values[slot.index()] = drawn;
        }
    }

    /// The cars at an imposed temperature of the fuel; unsound ones are refused and stand still as the base car.
    fn derive(
        &mut self,
        first: usize,
        lanes: usize,
        op: &Operating,
        refused: &mut [bool; LANES],
        failed: &mut Vec<Failed>,
    ) {
        let sweep = self.sweep;
        let lay = &sweep.reduced.layout;
        loop {
            if sweep.fuel_varies || self.fuel_at != Some(op.fuel_temperature) {
                sweep.reduced.fuel(&self.values, op.fuel_temperature, &mut self.fuel);
                self.fuel_at = Some(op.fuel_temperature);
            }
            let mut sound = Row::<LANES>::of(0.0);
            derive(lay, &self.values, &self.fuel, &mut self.cars, &mut sound);
            let unsound = |lane: &usize| sound[*lane] == 0.0;
            if !(0..LANES).any(|l| unsound(&l)) {
                break;
            }
            let mut anything = false;
            for lane in (0..LANES).filter(unsound) {
                if lane < lanes && !refused[lane] {
                    refused[lane] = true;
                    failed.push(Failed { draw: first + lane, point: None, why: self.fuel_refusal(lane, op) });
                }
                for slot in &sweep.slots {
                    let base = sweep.reduced.value(*slot);
                    anything |= self.values[slot.index()][lane] != base;
                    self.values[slot.index()][lane] = base;
                }
            }
            if !anything {
                break; // the base car itself has no fuel at this temperature
            }
        }
        self.state.near.forget();
    }

    fn group(
        &mut self,
        first: usize,
        lanes: usize,
        inputs: &[&[f64]],
        outputs: &mut [&mut [f64]],
        failed: &mut Vec<Failed>,
    ) {
        let sweep = self.sweep;
        let lay = &sweep.reduced.layout;
        let mut refused = [false; LANES];
        let mut temperature = None;
        self.take(first, lanes, inputs, &mut refused, failed);
        for (p, set) in sweep.settings.iter().enumerate() {
            if p == 0 || set.op.fuel_temperature != temperature {
                temperature = set.op.fuel_temperature;
                self.derive(first, lanes, &set.op, &mut refused, failed);
            }
            solve(lay, &self.cars, &mut self.ask, &mut self.state, set, p == 0);
            let mut general = [false; LANES];
            for lane in 0..lanes {
                if refused[lane] {
                    continue;
                }
                self.effort.points += 1;
                self.effort.steps += self.state.steps[lane] as u64;
                if self.state.done[lane] > 0.0 {
                    general[lane] = self.overshot(lane, set);
                    self.effort.settled += u64::from(!general[lane]);
                } else {
                    general[lane] = !self.mend(lane, set);
                }
            }
            let reading = Reading { lay, car: &*self.cars, ask: &*self.ask, set, state: &*self.state };
            read(&reading, &sweep.outputs, &mut self.read);
            let n = sweep.outputs.len();
            if let Some(o) = sweep.outputs.iter().position(|o| *o == Output::Headroom)
                && set.running
            {
                for lane in 0..lanes {
                    if self.read[o][lane].is_nan() && !refused[lane] && !general[lane] {
                        self.read[o][lane] = self.bracketed_headroom(lane, set);
                    }
                }
            }
            for (o, column) in self.read.iter().enumerate() {
                outputs[p * n + o][first..first + lanes].copy_from_slice(&column[..lanes]);
            }
            for lane in 0..lanes {
                let draw = first + lane;
                let mut write = |o: usize, y: f64| outputs[p * n + o][draw] = y;
                if refused[lane] {
                    self.effort.points += 1;
                    self.effort.failed += 1;
                    (0..n).for_each(|o| write(o, f64::NAN));
                } else if general[lane] {
                    match self.general(lane, set) {
                        Ok(ys) => {
                            self.effort.general += 1;
                            ys.iter().enumerate().for_each(|(o, y)| write(o, *y));
                        }
                        Err(why) => {
                            self.effort.failed += 1;
                            failed.push(Failed { draw, point: Some(p), why });
                            (0..n).for_each(|o| write(o, f64::NAN));
                        }
                    }
                }
            }
        }
    }

    /// Solves one lane alone, by Newton's method afresh or by brackets; not where its regulator passes more than it need.
    #[cold]
    fn mend(&mut self, lane: usize, set: &Setting) -> bool {
        if self.ask.valid[lane] == 0.0 {
            return false;
        }
        let lay = &self.sweep.reduced.layout;
        let car = self.cars.pick(lane);
        let mut state = State::<1>::blank();
        alone(lay, &car, &mut state, set);
        if state.done[0] > 0.0 {
            self.state.put(lane, &state);
            let least = !self.overshot(lane, set);
            self.effort.alone += u64::from(least);
            return least;
        }
        let mut ask = Ask::<1>::blank();
        ask.fill(lay, &car, set);
        match bracket::solve(lay, &car, &ask, set) {
            Some(found) => {
                self.state.put(lane, &found);
                let least = !self.overshot(lane, set);
                self.effort.bracketed += u64::from(least);
                least
            }
            None => false,
        }
    }

    /// Whether one lane's regulator passes more than it need.
    fn overshot(&self, lane: usize, set: &Setting) -> bool {
        if !self.state.may_fall(&self.cars, &self.ask, lane) {
            return false;
        }
        let lay = &self.sweep.reduced.layout;
        let car = self.cars.pick(lane);
        let mut ask = Ask::<1>::blank();
        ask.fill(lay, &car, set);
        bracket::overshot(lay, &car, &ask, self.state.bypassed[lane])
    }

    /// Headroom of the supply of one lane, where Newton's method cycles.
    #[cold]
    fn bracketed_headroom(&mut self, lane: usize, set: &Setting) -> f64 {
        let lay = &self.sweep.reduced.layout;
        let car = self.cars.pick(lane);
        let mut ask = Ask::<1>::blank();
        ask.fill(lay, &car, set);
        bracket::supply(lay, &car, &ask, set, ask.crack[0]).map_or(f64::NAN, |q| {
            (q - seep(car.injection.leak[0], ask.crack[0] - ask.manifold[0])) / ask.asked[0] - 1.0
        })
    }

    /// The general solver's answer, or its reason.
    #[cold]
    fn general(&mut self, lane: usize, set: &Setting) -> Result<Vec<f64>> {
        let build = self.sweep.reduced.as_build(&self.values, lane)?;
        let p = point(&build, &set.op)?;
        self.sweep
            .outputs
            .iter()
            .zip(&self.sweep.names)
            .map(|(o, name)| o.at_point(name, &p, &build))
            .collect()
    }

    #[cold]
    fn fuel_refusal(&self, lane: usize, op: &Operating) -> Error {
        match self.sweep.reduced.as_build(&self.values, lane).and_then(|b| point(&b, op)) {
            Err(e) => e,
            Ok(_) => Error::new(Kind::Range, "the fuel's laws do not hold for this draw").at_key("fuel"),
        }
    }
}

/// One lane alone: afresh, then with shorter steps.
#[inline(always)]
fn alone_lane(lay: &Layout, car: &Car<1>, state: &mut State<1>, set: &Setting) {
    let mut ask = Ask::<1>::blank();
    ask.fill(lay, car, set);
    for damping in [1.0, 0.5] {
        state.start(lay, car, &ask, set);
        state.solve(lay, car, &ask, set, 60, damping);
        if state.done[0] > 0.0 {
            return;
        }
    }
}

#[inline(always)]
fn solve_lanes<const W: usize>(
    lay: &Layout,
    cars: &Car<W>,
    ask: &mut Ask<W>,
    state: &mut State<W>,
    set: &Setting,
    afresh: bool,
) {
    ask.fill(lay, cars, set);
    if afresh {
        state.start(lay, cars, ask, set);
    } else {
        let lost = state.lost(ask);
        state.follow(lay, cars, ask);
        if lost.contains(&1.0) {
            let mut fresh = State::blank();
            fresh.start(lay, cars, ask, set);
            state.begin(&lost, &fresh);
        }
    }
    state.solve(lay, cars, ask, set, MOST, 1.0);
}

macro_rules! wide {
    ($(#[$doc:meta])* $name:ident = $body:ident ( $($arg:ident: $t:ty),* )) => {
        $(#[$doc])*
        fn $name($($arg: $t),*) {
            #[cfg(target_arch = "x86_64")]
            {
                #[target_feature(enable = "avx512f,avx512vl,avx512dq")]
                fn on_avx512($($arg: $t),*) {
                    $body($($arg),*);
                }
                #[target_feature(enable = "avx2,fma")]
                fn on_avx2($($arg: $t),*) {
                    $body($($arg),*);
                }
                let has512 = std::arch::is_x86_feature_detected!("avx512f")
                    && std::arch::is_x86_feature_detected!("avx512vl")
                    && std::arch::is_x86_feature_detected!("avx512dq");
                if has512 {
                    // SAFETY: the processor has been asked for every feature that the function needs. There is no other
                    // way to compile code for them without making the whole program depend on them.
                    #[allow(unsafe_code)]
                    return unsafe { on_avx512($($arg),*) };
                }
                if std::arch::is_x86_feature_detected!("avx2") && std::arch::is_x86_feature_detected!("fma") {
                    // SAFETY: as above.
                    #[allow(unsafe_code)]
                    return unsafe { on_avx2($($arg),*) };
                }
            }
            $body($($arg),*);
        }
    };
}

wide! {
    /// Asks and solves one point for all lanes, with the widest vectors of this processor. Fused products are the
    /// same on all, so the bits are.
    solve = solve_lanes(
        lay: &Layout, cars: &Car<LANES>, ask: &mut Ask<LANES>, state: &mut State<LANES>, set: &Setting, afresh: bool
    )
}

wide! {
    /// One lane alone.
    alone = alone_lane(lay: &Layout, car: &Car<1>, state: &mut State<1>, set: &Setting)
}

wide! {
    /// The cars that follow from columns of values.
    derive = derive_lanes(
        lay: &Layout, values: &[Row<LANES>], fuel: &Fuel<LANES>, cars: &mut Car<LANES>, sound: &mut Row<LANES>
    )
}

wide! {
    /// Reads the figures out for all lanes.
    read = read_lanes(reading: &Reading<'_, LANES>, outputs: &[Output], to: &mut [Row<LANES>])
}

#[inline(always)]
fn read_lanes<const W: usize>(reading: &Reading<'_, W>, outputs: &[Output], to: &mut [Row<W>]) {
    reading.write(outputs, to);
}

#[inline(always)]
fn derive_lanes<const W: usize>(
    lay: &Layout,
    values: &[Row<W>],
    fuel: &Fuel<W>,
    cars: &mut Car<W>,
    sound: &mut Row<W>,
) {
    lay.derive(values, fuel, cars, sound);
}
