//! The exponential method where it pays, and the methods that runs choose for themselves.

use crate::support::hill_climb_net::{Choice, net};
use railrise::stepper::{Exponential, Rodas4, StopReason, solve};
use railrise::transient::network::NetSystem;

#[test]
fn the_method_is_chosen_by_friction_and_size() {
    let near = |choice| NetSystem::<32>::new(net(choice), 0.0).expect("valid").0.is_nearly_linear();
    assert!(near(Choice::default()));
    assert!(!near(Choice { friction: 0.5, ..Choice::default() }));
    assert!(!near(Choice { feed_lumps: 8, ..Choice::default() }));
}

// From one edge to the next in one step, where an explicit method needs four.
#[test]
fn a_running_engine_is_stepped_from_edge_to_edge() {
    const N: usize = 24;
    let (mut system, y) = NetSystem::<N>::new(net(Choice::default()), 0.0).expect("valid");
    let options = system.tolerances(1.0);
    let warm = solve(&mut system, &mut Rodas4::new(), 0.0, y, 0.5, &options, &mut ()).expect("valid");
    let run =
        solve(&mut system, &mut Exponential::new(), 0.5, warm.y, 1.5, &options, &mut ()).expect("valid");
    assert_eq!(run.stop, StopReason::Finished);
    let s = run.statistics;
    assert!(s.accepted + s.rejected < 2 * s.time_events && s.left == 0, "{s:?}");
}
