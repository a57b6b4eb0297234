//! The circuit in time, by hand-made networks of the demo car (invented): accuracy, conservation, stops, events.

use crate::support::hill_climb_net::{AMBIENT, Choice, net};
use railrise::part::injector::CoilNeedle;
use railrise::part::manifold::Throttle;
use railrise::part::orifice;
use railrise::schedule::Track;
use railrise::stepper::{
    Every, Matrix, Method, Observer, Rodas4, Run, StepView, StopReason, System, Tsit5, solve,
};
use railrise::transient::linear::Linear;
use railrise::transient::network::{
    Belief, EventKind, Hose, Intake, Net, NetSystem, Node, Place, Plate, Tap, WaveLine,
};
use std::f64::consts::TAU;
use std::ops::ControlFlow;

const N: usize = 40;
const RAIL: Place = Place::Node(0);

/// A system with its state.
#[derive(Clone)]
struct Live {
    system: NetSystem<N>,
    t: f64,
    y: [f64; N],
}

fn at_rest(n: Net) -> Live {
    let (system, y) = NetSystem::<N>::new(n, 0.0).expect("valid");
    Live { system, t: 0.0, y }
}

impl Live {
    fn run_with<M: Method<N>, O: Observer<N>>(
        &mut self,
        mut m: M,
        factor: f64,
        seconds: f64,
        o: &mut O,
    ) -> Run<N> {
        let options = self.system.tolerances(factor);
        let end = self.t + seconds;
        let run = solve(&mut self.system, &mut m, self.t, self.y, end, &options, o).expect("valid");
        (self.t, self.y) = (run.t, run.y);
        run
    }

    fn run(&mut self, seconds: f64) -> Run<N> {
        let run = self.run_with(Tsit5::new(), 0.1, seconds, &mut ());
        assert_eq!(run.stop, StopReason::Finished);
        run
    }

    fn rail(&self) -> f64 {
        self.system.pressure(RAIL, self.t, &self.y) - AMBIENT
    }

    fn count(&self, wanted: fn(&EventKind) -> bool) -> usize {
        self.system.events().iter().filter(|e| wanted(&e.kind)).count()
    }
}

/// The car at 6500 rev/min and 0.7 bar, a second after key-on: past its start-up.
fn warm() -> Live {
    let mut live = at_rest(net(Choice::default()));
    live.run(1.0);
    live
}

struct Record {
    rail: Vec<f64>,
    injected: Vec<f64>,
}

fn record<M: Method<N>>(live: &Live, m: M, factor: f64, seconds: f64) -> Record {
    let mut live = live.clone();
    let mut grid = Every::new(live.t, 1e-4);
    let run = live.run_with(m, factor, seconds, &mut grid);
    assert_eq!(run.stop, StopReason::Finished);
    let at = live.system.node(0);
    let first = live.system.injected(0);
    let start = grid.y[0];
    Record {
        rail: grid.y.iter().map(|y| y[at]).collect(),
        injected: (first..first + 4).map(|k| run.y[k] - start[k]).collect(),
    }
}

fn differ(a: &Record, b: &Record) -> (f64, f64) {
    let rail = a.rail.iter().zip(&b.rail).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    let volume = a.injected.iter().zip(&b.injected).map(|(a, b)| (a / b - 1.0).abs()).fold(0.0, f64::max);
    (rail, volume)
}

#[test]
fn default_settings_hold_50_pa_and_1e_5_against_the_other_method_at_tight_tolerance() {
    let live = warm();
    let tight = record(&live, Rodas4::new(), 1e-4, 0.2);
    let explicit = differ(&record(&live, Tsit5::new(), 1.0, 0.2), &tight);
    let implicit = differ(&record(&live, Rodas4::new(), 1.0, 0.2), &tight);
    assert!(explicit.0 < 50.0 && explicit.1 < 1e-5, "{explicit:?}");
    assert!(implicit.0 < 50.0 && implicit.1 < 1e-5, "{implicit:?}");
    // The diaphragm takes up most of each pulse (A^2/k beside the rail's own compliance): without the room that the poppet
    // makes the ripple would be six times this.
    let (low, high) = tight.rail.iter().fold((f64::MAX, 0.0f64), |(l, h), p| (l.min(*p), h.max(*p)));
    assert!((1.2e3..1.9e3).contains(&(high - low)), "{}", high - low);
}

#[test]
fn the_error_falls_with_the_tolerance() {
    let live = warm();
    let tight = record(&live, Rodas4::new(), 1e-5, 0.1);
    let errors: Vec<f64> =
        [10.0, 1.0, 0.1, 0.01].map(|f| differ(&record(&live, Tsit5::new(), f, 0.1), &tight).0).to_vec();
    // A lift is felt through A/C of the rail.
    assert!(errors[3] < 0.2 && errors[3] < 2e-3 * errors[0], "{errors:?}");
    assert!(errors.windows(2).all(|w| w[1] < 1.2 * w[0]), "{errors:?}");
}

#[test]
fn the_friction_table_changes_nothing_that_is_felt() {
    let live = warm();
    let mut exact = live.clone();
    exact.system = exact.system.with_exact_friction(true);
    let off = differ(&record(&live, Tsit5::new(), 1e-3, 0.1), &record(&exact, Tsit5::new(), 1e-3, 0.1));
    assert!(off.0 < 1.0 && off.1 < 1e-8, "{off:?}");
}

#[test]
fn fuel_is_conserved_to_1e_9_of_what_moved() {
    let mut live = at_rest(net(Choice { friction: 0.5, ..Choice::default() }));
    let y0 = live.y;
    live.run(0.5);
    let moved: f64 = (0..4).map(|k| live.y[live.system.injected(k)]).sum();
    assert!(moved > 5e-6, "{moved}");
    let off = live.system.volume_since(&y0, &live.y).abs();
    assert!(off < 1e-9 * moved, "{off} of {moved}");
}

#[test]
fn without_pulses_it_settles_on_the_static_balance_of_the_poppet() {
    let mut live = at_rest(net(Choice { pulse: 0.0, ..Choice::default() }));
    // At rest a step is as long as its error lets it be: a tolerance of 1.5 µm/s shows how still it is.
    let run = live.run_with(Tsit5::new(), 0.01, 4.0, &mut ());
    assert_eq!(run.stop, StopReason::Finished);
    let r = &live.system.net().regulators[0];
    let at = live.system.poppet_at(0);
    let (x, v) = (live.y[at], live.y[at + 1]);
    assert!(v.abs() < 1e-4, "{v}");
    let fuel = live.system.pressure(RAIL, live.t, &live.y);
    let back = live.system.pressure(Place::Node(1), live.t, &live.y);
    let seat = std::f64::consts::PI / 4.0 * r.seat * r.seat;
    // Force balance of section 5 of the regulator's law, and the orifice law at that lift.
    let area = std::f64::consts::PI * r.seat * x;
    let force = fuel * (r.area - seat) + back * seat
        - (AMBIENT + 0.7e5) * r.area
        - r.preload
        - r.rate * x
        - r.flow_force * area * (fuel - back);
    assert!(force.abs() < 0.05, "{force}");
    let (q, _) = orifice::flow(fuel - back, r.cd * area, live.system.net().fluid.rho, orifice::DP_SMALL);
    let last = live.y[live.system.branch(6)];
    assert!((q / last - 1.0).abs() < 1e-4, "{q} {last}");
    // Base 3.0 bar at 100 L/h and 0.7 bar on the reference, a gain of 1.04.
    assert!((live.rail() - 3.73e5).abs() < 0.06e5, "{}", live.rail());
}

#[test]
fn dry_friction_moves_the_mean_rail_no_further_than_its_band() {
    let mean = |friction: f64, volts: f64| {
        let mut n = net(Choice { pulse: 0.0, friction, ..Choice::default() });
        n.pumps[0].supply = Track::new(&[(0.0, volts), (1.0, volts), (2.0, 13.8)]).expect("valid");
        let mut live = at_rest(n);
        live.run(3.0);
        let mut grid = Every::new(live.t, 1e-3);
        live.run_with(Tsit5::new(), 0.1, 1.0, &mut grid);
        let at = live.system.node(0);
        let stuck = live.count(|e| matches!(e, EventKind::PoppetStuck { .. }));
        (grid.y.iter().map(|y| y[at]).sum::<f64>() / grid.y.len() as f64, stuck)
    };
    let r = net(Choice::default()).regulators[0].clone();
    let half = 0.7 / (r.area - std::f64::consts::PI / 4.0 * r.seat * r.seat);
    let (centre, never) = mean(0.0, 13.8);
    assert_eq!(never, 0);
    for volts in [12.0, 15.5] {
        let (p, stuck) = mean(0.7, volts);
        assert!((p - centre).abs() < half, "{p} {centre} {half}");
        assert!(stuck > 10, "{stuck}");
    }
}

#[test]
fn a_prime_starts_the_pump_opens_the_check_valve_and_leaves_residual_pressure() {
    let mut n = net(Choice { pulse: 0.0, boost: 0.0, ..Choice::default() });
    n.pumps[0].supply = Track::new(&[(0.0, 13.0), (2.0, 13.0), (2.0, 0.0), (10.0, 0.0)]).expect("valid");
    let mut live = at_rest(n);
    live.run(1.9);
    assert!((live.rail() - 3.02e5).abs() < 0.08e5, "{}", live.rail());
    live.run(3.0);
    assert_eq!(live.count(|e| matches!(e, EventKind::PumpStopped { .. })), 1);
    assert!(live.count(|e| matches!(e, EventKind::CheckShut { .. })) >= 1);
    assert_eq!(live.y[live.system.pump(0)], 0.0);
    // Shut behind and in front: what the poppet's seat held stays.
    assert!(live.rail() > 2.5e5 && live.rail() < 3.05e5, "{}", live.rail());
}

#[test]
fn a_leaking_check_valve_drains_the_rail_and_a_tight_one_does_not() {
    let hold = |shut: f64| {
        let mut n = net(Choice { pulse: 0.0, boost: 0.0, ..Choice::default() });
        n.pumps[0].supply = Track::new(&[(0.0, 13.0), (1.0, 13.0), (1.0, 0.0)]).expect("valid");
        n.branches[0].check.as_mut().expect("a check valve").shut = shut;
        let mut live = at_rest(n);
        live.run(1.5);
        let first = live.rail();
        live.run(5.0);
        (first, live.rail())
    };
    let (a, b) = hold(1e16);
    assert!((a - b).abs() < 1e3, "{a} {b}");
    // C ~ 4e-12 m³/Pa through 1e12 Pa·s/m³: a time constant of 4 s.
    let (a, b) = hold(1e12);
    assert!(b < 0.6 * a && b > 0.05 * a, "{a} {b}");
}

#[test]
fn a_pulse_passes_what_the_orifice_law_gives_over_its_open_time() {
    // A stiff source: huge rail, so the difference does not move during the pulse.
    let mut n = net(Choice { cylinders: 4, ..Choice::default() });
    n.nodes[0].capacitance = 1e-6;
    let mut live = at_rest(n);
    let at = live.system.node(0);
    live.y[at] = AMBIENT + 3.7e5;
    let (t, mut y) = (live.t, live.y);
    live.system.settle_modes(t, &mut y);
    live.y = y;
    live.run(0.018);
    // Injector 0 is commanded at 0 s, opens after 1.3 ms and closes 0.3 ms after its 11.1 ms pulse: open 10.1 ms.
    let unit = &live.system.net().injectors[0];
    let (q, _) = orifice::flow(3.0e5, unit.cd_a, live.system.net().fluid.rho, orifice::DP_SMALL);
    let passed = live.y[live.system.injected(0)];
    assert!((passed / (q * 10.1e-3) - 1.0).abs() < 1e-3, "{passed}");
    let opened: Vec<f64> = live
        .system
        .events()
        .iter()
        .filter(|e| matches!(e.kind, EventKind::Opened { injector: 0 } | EventKind::Closed { injector: 0 }))
        .map(|e| e.t)
        .collect();
    assert!((opened[0] - 1.3e-3).abs() < 1e-12 && (opened[1] - 11.4e-3).abs() < 1e-12, "{opened:?}");
}

#[test]
fn a_pot_that_empties_ends_the_run_on_the_instant() {
    let mut n = net(Choice::default());
    n.ends[0].fuel = Some(5e-6);
    let mut live = at_rest(n);
    let run = live.run_with(Tsit5::new(), 0.1, 5.0, &mut ());
    assert!(matches!(run.stop, StopReason::Root { .. }), "{:?}", run.stop);
    assert!((run.y[live.system.received(0)] + 5e-6).abs() < 1e-14);
    assert!(matches!(live.system.events().last().expect("one").kind, EventKind::RanDry { end: 0 }));
}

/// Lowest and highest of a node.
struct Range(usize, f64, f64);
impl Observer<N> for Range {
    fn step(&mut self, s: &StepView<'_, N>) -> ControlFlow<()> {
        (self.1, self.2) = (self.1.min(s.y1[self.0]), self.2.max(s.y1[self.0]));
        ControlFlow::Continue(())
    }
}

#[test]
fn a_narrow_return_hose_swings_to_vapour_pressure_and_never_below_it() {
    let mut live = at_rest(net(Choice { back: (3.8, 7.5e-3), ..Choice::default() }));
    let mut range = Range(live.system.node(1), f64::MAX, 0.0);
    live.run_with(Tsit5::new(), 1.0, 0.5, &mut range);
    assert!(live.count(|e| matches!(e, EventKind::Boils { .. })) > 0);
    let lowest = Place::Node(1);
    let mut y = live.y;
    y[live.system.node(1)] = range.1;
    assert_eq!(live.system.pressure(lowest, live.t, &y), live.system.net().fluid.vapour);
}

#[test]
fn small_poppet_damping_is_called_unstable_and_chatters_in_time_too() {
    let verdict = |damping: f64| {
        let c = Choice { pulse: 0.0, damping, ..Choice::default() };
        let mut live = at_rest(net(c));
        live.run(0.3);
        // The operating point itself: the mean of lift at rest.
        let calm = {
            let mut calm = at_rest(net(Choice { damping: 40.0, ..c }));
            calm.run(4.0);
            calm.y
        };
        let mut at_point = at_rest(net(c));
        at_point.y = calm;
        let (t, mut y) = (at_point.t, at_point.y);
        at_point.system.settle_modes(t, &mut y);
        let stable = Linear::of(&at_point.system, 0.0, &y, at_point.system.injected(0)).is_stable();
        let mut range = Range(live.system.poppet_at(0), f64::MAX, 0.0);
        live.run_with(Tsit5::new(), 1.0, 0.2, &mut range);
        (stable, range.2 - range.1)
    };
    let (stable, swing) = verdict(40.0);
    assert!(stable && swing < 1e-5, "{stable} {swing}");
    let (stable, swing) = verdict(2.0);
    assert!(!stable && swing > 3e-5, "{stable} {swing}");
}

#[test]
fn static_pulses_stay_open_and_cost_grows_in_proportion_to_cylinders() {
    let mut n = net(Choice::default());
    n.belief = Belief::Width(Track::constant(0.05));
    let mut live = at_rest(n);
    live.run(0.2);
    // From the first command on, each injector is open for good.
    assert_eq!(live.count(|e| matches!(e, EventKind::Closed { .. })), 0);
    assert_eq!(live.count(|e| matches!(e, EventKind::Opened { .. })), 4);
    let effort = |cylinders: usize| {
        let mut live =
            at_rest(net(Choice { cylinders, pulse: 44.4e-3 / cylinders as f64, ..Choice::default() }));
        live.run(0.5).statistics.rhs as f64
    };
    let (four, eight) = (effort(4), effort(8));
    assert!(eight < 2.6 * four, "{four} {eight}");
}

#[test]
fn what_cannot_be_is_refused_by_part_and_key() {
    let refused = |change: fn(&mut Net)| {
        let mut n = net(Choice::default());
        change(&mut n);
        NetSystem::<N>::new(n, 0.0).expect_err("refused").to_string()
    };
    for (message, word) in [
        (refused(|n| n.nodes[0].capacitance = 0.0), "rail.capacitance"),
        (refused(|n| n.pumps[0].inertia = -1e-6), "main pump.rotor_inertia"),
        (refused(|n| n.regulators[0].mass = f64::NAN), "regulator.moving_mass"),
        (refused(|n| n.rpm = Track::constant(1e9)), "schedule.rpm"),
        (refused(|n| n.branches[2].bore = 0.0), "feed hose 3.bore"),
        (refused(|n| n.branches[2].to = Place::Node(99)), "feed hose 3"),
        (refused(|n| n.nodes[0].wall = 1e-3), "rail.wall"),
        (
            refused(|n| {
                with_intake(n, Tap::Manifold, 0.0, None);
                let hoses = &mut n.intake.as_mut().expect("there").hoses;
                hoses.push(Hose { at: Tap::ChargePipe, ..hoses[0] });
            }),
            "regulator.reference",
        ),
    ] {
        assert!(message.contains(word), "{message}");
    }
    let small = NetSystem::<8>::new(net(Choice::default()), 0.0).expect_err("refused").to_string();
    assert!(small.contains("states"), "{small}");
}

/// The right-hand side alone: its Jacobian is that of differences.
struct Plain(NetSystem<N>);

impl System<N> for Plain {
    fn rhs(&self, t: f64, y: &[f64; N], dy: &mut [f64; N]) {
        self.0.rhs(t, y, dy);
    }
    fn typical(&self, component: usize) -> f64 {
        self.0.typical(component)
    }
}

/// Puts a piece with waves between the second and third lump of the feed hose.
fn with_waves(n: &mut Net) {
    let Place::Node(from) = n.branches[1].to else { panic!("a hose of lumps") };
    n.nodes[from].wall = 0.0;
    n.nodes.push(Node { name: "outlet".into(), ..n.nodes[from].clone() });
    let to = n.nodes.len() - 1;
    n.branches[2].from = Place::Node(to);
    n.waves.push(WaveLine {
        name: "waves".into(),
        from,
        to,
        fed_by: 1,
        length: 1.0,
        bore: 8.7e-3,
        roughness: 1.5e-6,
        wave_speed: 420.0,
        reaches: 10,
    });
}

// Two ways to one volume: what passed the ends, added up by the stepper, and `∫ p A/(ρ a²) dx` over the grid. A ledger alone
// would balance whatever the waves did.
#[test]
fn what_a_line_with_waves_took_up_is_what_its_pressures_hold() {
    let mut circuit = net(Choice::default());
    with_waves(&mut circuit);
    // A grid of 2^-12 s, so that the record meets its steps.
    (circuit.waves[0].reaches, circuit.waves[0].wave_speed) = (8, 512.0);
    let mut live = at_rest(circuit);
    let (y0, held) = (live.y, live.system.held_in_waves());
    for k in 1..=8 {
        live.run(0.0625);
        let taken = live.system.in_waves_since(&y0, &live.y);
        let holds = live.system.held_in_waves() - held;
        assert!(holds > 5e-8 && (taken / holds - 1.0).abs() < 1e-3, "{k}: {taken:e} {holds:e}");
    }
}

/// A manifold of 5 L that fills behind a boost that builds, to which the reference hose is joined; through a throttle, where
/// its opening is given.
fn with_intake(n: &mut Net, at: Tap, lag: f64, opening: Option<f64>) {
    n.regulators[0].lag = lag;
    n.intake = Some(Intake {
        volume: 5e-3,
        spool: 0.3,
        target: Track::new(&[(0.0, 0.2e5), (0.1, 0.2e5), (0.1, 0.7e5)]).expect("in order"),
        temperature: Track::new(&[(0.0, 300.0), (0.3, 330.0)]).expect("in order"),
        pull: Track::constant(1.3e-6),
        throttle: opening.map(|x| Plate {
            law: Throttle { area: 1.5e-3 },
            opening: Track::new(&[(0.0, x), (0.2, x), (0.3, 0.5 * x)]).expect("in order"),
        }),
        hoses: vec![Hose { regulator: 0, at, passes: 0.8 }],
    });
}

#[test]
fn the_jacobian_in_closed_form_is_that_of_differences() {
    for (friction, exact, followed, intake) in [
        (0.0, false, 0, None),
        (0.5, false, 0, None),
        (0.0, true, 0, None),
        (0.0, false, 2, None),
        (0.0, false, 0, Some((Tap::Manifold, 0.015, None))),
        (0.0, false, 2, Some((Tap::Manifold, 0.0, None))),
        (0.0, false, 0, Some((Tap::ChargePipe, 0.0, None))),
        (0.0, false, 0, Some((Tap::ChargePipe, 0.015, None))),
        (0.0, false, 0, Some((Tap::Manifold, 0.015, Some(0.1)))),
        (0.0, false, 0, Some((Tap::ChargePipe, 0.0, Some(0.9)))),
    ] {
        let mut circuit = net(Choice { friction, ..Choice::default() });
        if let Some((at, lag, opening)) = intake {
            with_intake(&mut circuit, at, lag, opening);
        }
        // Two needles are followed, and a part of the feed hose carries waves.
        circuit.injectors.iter_mut().take(followed).for_each(|i| i.coil = Some(CoilNeedle::default()));
        if followed > 0 {
            with_waves(&mut circuit);
        }
        let mut live = at_rest(circuit);
        live.system = live.system.with_exact_friction(exact);
        for seconds in [0.01, 0.21, 0.0137, 0.0021] {
            live.run(seconds);
            let mut f = [0.0; N];
            live.system.rhs(live.t, &live.y, &mut f);
            let (mut closed, mut differences) = (Matrix::zeros(), Matrix::zeros());
            live.system.jacobian(live.t, &live.y, &f, &mut closed);
            Plain(live.system.clone()).jacobian(live.t, &live.y, &f, &mut differences);
            let shut: Vec<usize> = (0..live.system.net().branches.len())
                .map(|b| live.system.branch(b))
                .filter(|k| live.y[*k] == 0.0)
                .collect();
            // Scaled by what each state typically is, so that rows of all kinds weigh alike.
            for r in 0..live.system.active() {
                let scale = |c: usize| live.system.typical(c);
                let size = (0..N).map(|c| (differences.get(r, c) * scale(c)).abs()).fold(0.0, f64::max);
                for c in (0..N).filter(|c| !shut.contains(c)) {
                    let (a, b) = (closed.get(r, c) * scale(c), differences.get(r, c) * scale(c));
                    assert!(
                        (a - b).abs() <= 2e-5 * size + 1e-12,
                        "{seconds} s, row {r}, column {c}: {a} {b}"
                    );
                }
            }
        }
    }
}

// The same sine run in time, its first harmonic over ten whole periods.
#[test]
fn the_response_to_a_reference_is_that_of_a_sine_run_in_time() {
    for (hertz, lag) in [(8.0, 0.015), (35.0, 0.015), (35.0, 0.0), (120.0, 0.0)] {
        let mut circuit = net(Choice { pulse: 0.0, ..Choice::default() });
        let base = circuit.regulators[0].reference.at(0.0);
        circuit.regulators[0].lag = lag;
        let mut still = at_rest(circuit.clone());
        still.run(3.0);
        let linear = Linear::of(&still.system, still.t, &still.y, still.system.injected(0));
        let rail = still.system.node(0);
        let (gain, phase) =
            linear.response(hertz, &[still.system.reference_forcing(0)], rail).expect("not at a resonance");
        // 3 s to settle, then 40 periods of 64 straight pieces, of which the last ten are read.
        let (amplitude, pieces, periods) = (200.0, 64, 40);
        let mut points = vec![(0.0, base), (3.0, base)];
        for k in 1..=pieces * periods {
            let turns = f64::from(k) / f64::from(pieces);
            points.push((3.0 + turns / hertz, base + amplitude * (TAU * turns).sin()));
        }
        circuit.regulators[0].reference = Track::new(&points).expect("in order");
        let mut live = at_rest(circuit);
        let end = 3.0 + f64::from(periods) / hertz;
        let begin = end - 10.0 / hertz;
        live.run(begin - live.t);
        let mut grid = Every::new(begin, 1.0 / (hertz * 200.0));
        live.run_with(Tsit5::new(), 0.05, end - begin, &mut grid);
        let (mut sine, mut cosine) = (0.0, 0.0);
        for (k, y) in grid.y.iter().take(2000).enumerate() {
            let angle = TAU * (k as f64 / 200.0);
            sine += y[rail] * angle.sin() / 1000.0;
            cosine += y[rail] * angle.cos() / 1000.0;
        }
        let (measured, ahead) = (sine.hypot(cosine) / amplitude, cosine.atan2(sine));
        assert!((measured / gain - 1.0).abs() < 0.01, "{hertz} Hz, lag {lag}: {measured} {gain}");
        let off = (ahead - phase + std::f64::consts::PI).rem_euclid(TAU) - std::f64::consts::PI;
        assert!(off.abs() < 0.02, "{hertz} Hz, lag {lag}: {ahead} {phase}");
    }
}

// Slowly, the rail swings by A_d/(A_d - A_seat) of the reference, less what rate and flow force take (force balance).
#[test]
fn a_slow_reference_is_followed_with_the_gain_of_the_diaphragm() {
    let mut circuit = net(Choice { pulse: 0.0, ..Choice::default() });
    circuit.regulators[0].rate = 1.0;
    circuit.regulators[0].flow_force = 0.0;
    let r = circuit.regulators[0].clone();
    let mut live = at_rest(circuit);
    live.run(3.0);
    let linear = Linear::of(&live.system, live.t, &live.y, live.system.injected(0));
    let (gain, _) = linear
        .response(0.1, &[live.system.reference_forcing(0)], live.system.node(0))
        .expect("not at a resonance");
    let seat = std::f64::consts::PI / 4.0 * r.seat * r.seat;
    let wanted = r.area / (r.area - seat);
    assert!((gain / wanted - 1.0).abs() < 0.01, "{gain} {wanted}");
}
