//! The circuit in time against SUNDIALS CVODE (BDF, tight tolerance), a multistep solver that shares no line with ours
//! but the system itself: right-hand side, Jacobian, events. Needs the feature `cvode`.

use crate::support::cvode::{self, Family};
use crate::support::hill_climb_net::{Choice, net};
use railrise::stepper::{Every, Exponential, Method, Rodas4, StopReason, Tsit5, solve};
use railrise::transient::network::{EventKind, NetSystem};

const N: usize = 32;
const GRID: f64 = 1e-4;

struct Pair {
    rail: f64,
    volume: f64,
}

/// Largest difference of the rail, Pa, and of an injected volume, relative, over `seconds` from `t` on.
fn apart<M: Method<N>>(live: &(NetSystem<N>, f64, [f64; N]), m: M, factor: f64, seconds: f64) -> Pair {
    let (system, t, y) = live;
    let mut theirs = system.clone();
    let options = system.tolerances(1e-3);
    let tight = cvode::solve(&mut theirs, Family::Bdf, (*t, *y, t + seconds), &options, Some(GRID));
    let (mut ours, mut m, mut grid) = (system.clone(), m, Every::new(*t, GRID));
    let options = system.tolerances(factor);
    let run = solve(&mut ours, &mut m, *t, *y, t + seconds, &options, &mut grid).expect("valid");
    assert_eq!(run.stop, StopReason::Finished);
    let (node, first) = (system.node(0), system.injected(0));
    let rail = grid.y.iter().zip(&tight.rows).map(|(a, b)| (a[node] - b[node]).abs()).fold(0.0, f64::max);
    let volume = (first..first + system.net().injectors.len())
        .map(|k| ((run.y[k] - y[k]) / (tight.y[k] - y[k]) - 1.0).abs())
        .fold(0.0, f64::max);
    Pair { rail, volume }
}

fn warm(choice: Choice) -> (NetSystem<N>, f64, [f64; N]) {
    let (mut system, y) = NetSystem::<N>::new(net(choice), 0.0).expect("valid");
    let options = system.tolerances(0.1);
    let run = solve(&mut system, &mut Tsit5::new(), 0.0, y, 1.0, &options, &mut ()).expect("valid");
    (system, run.t, run.y)
}

#[test]
fn every_stepper_holds_50_pa_and_1e_5_at_default_settings_against_cvode() {
    for choice in [Choice::default(), Choice { rpm: 3000.0, pulse: 6e-3, boost: 0.0, ..Choice::default() }] {
        let live = warm(choice);
        for p in [
            apart(&live, Tsit5::new(), 1.0, 0.2),
            apart(&live, Rodas4::new(), 1.0, 0.2),
            apart(&live, Exponential::new(), 1.0, 0.2),
        ] {
            assert!(p.rail < 50.0 && p.volume < 1e-5, "{} Pa, {:e}", p.rail, p.volume);
        }
        let fine = apart(&live, Tsit5::new(), 1e-2, 0.2);
        assert!(fine.rail < 0.5 && fine.volume < 1e-7, "{} Pa, {:e}", fine.rail, fine.volume);
    }
}

#[test]
fn a_start_from_rest_with_its_check_valve_and_poppet_agrees_too() {
    // Key-on: the rail fills, the poppet leaves its seat, the pump comes up to speed.
    let (system, y) =
        NetSystem::<N>::new(net(Choice { pulse: 0.0, ..Choice::default() }), 0.0).expect("valid");
    let live = (system.clone(), 0.0, y);
    for p in [apart(&live, Tsit5::new(), 0.1, 0.05), apart(&live, Exponential::new(), 0.1, 0.05)] {
        assert!(p.rail < 50.0, "{} Pa", p.rail);
    }
    let mut again = system;
    let options = again.tolerances(0.1);
    solve(&mut again, &mut Tsit5::new(), 0.0, y, 0.05, &options, &mut ()).expect("valid");
    let lifted = again.events().iter().any(|e| matches!(e.kind, EventKind::PoppetMoved { .. }));
    assert!(lifted, "the poppet never left its seat");
}

#[test]
fn two_families_of_multistep_formulas_agree_on_the_reference() {
    let (system, t, y) = warm(Choice::default());
    let options = system.tolerances(1e-4);
    let solved = |family| cvode::solve(&mut system.clone(), family, (t, y, t + 0.05), &options, Some(GRID));
    let (a, b) = (solved(Family::Bdf), solved(Family::Adams));
    let node = system.node(0);
    let off = a.rows.iter().zip(&b.rows).map(|(a, b)| (a[node] - b[node]).abs()).fold(0.0, f64::max);
    assert!(off < 0.1, "{off} Pa");
    // The formulas of lower order take more steps.
    assert!(a.steps > b.steps, "{} {}", a.steps, b.steps);
}
