//! The college's hill-climb car (invented): what its four builds must show.

use railrise::build::Build;
use railrise::quantity::*;
use railrise::steady::*;

fn demo(name: &str) -> Build {
    Build::read(format!("{}/datasets/hill-climb-car/{name}.toml", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

#[test]
fn look() {
    for n in ["before-0.7-bar", "raised-1.4-bar", "cure-wiring", "cure-second-pump"] {
        let b = demo(n);
        println!("== {n} {:?}", b.slips());
        for r in [900.0, 2000.0, 3000.0, 4000.0, 5000.0, 5800.0, 6500.0, 7000.0] {
            let rows = b.section("engine").rows("boost_rows").unwrap();
            let boost = rows
                .data
                .windows(2)
                .find(|w| rpm(r).value <= w[1][0] * 1.0001)
                .map(|w| w[0][1] + (w[1][1] - w[0][1]) * (rpm(r).value - w[0][0]) / (w[1][0] - w[0][0]))
                .unwrap();
            let op = Operating::at(rpm(r), pa(boost));
            let t = std::time::Instant::now();
            let p = point(&b, &op).unwrap();
            let el = t.elapsed();
            let l = limits_at(&b, &p, &Acceptance::default()).unwrap();
            println!(
                "{r:5} boost {:.2} rail {:.3} dp {:.3} asked {:.1} pump {:.1} eng {:.1} ret {:.1} I {:.2} V {:.2} pulse {:.2} duty {:.3} lam {:.3} H {:.3} cap {:.1} steps {} {:?}| {}",
                boost / 1e5,
                p.rail_pressure().pascals() / 1e5,
                p.difference().value / 1e5,
                p.asked_flow().value * 3.6e6,
                p.pump_flow().value * 3.6e6,
                p.engine_flow().value * 3.6e6,
                p.return_flow().value * 3.6e6,
                p.pump_current().value,
                p.pump_voltage().value,
                p.pulse_width().value * 1e3,
                p.duty().value,
                p.lambda().unwrap(),
                l.headroom,
                l.capacity * 3.6e6,
                p.effort.steps,
                el,
                l.sentence
            );
        }
        println!(
            "{:?}",
            reserve(&b, &Operating::at(rpm(6500.0), pa(if n.starts_with("before") { 0.7e5 } else { 1.4e5 })))
                .unwrap()
        );
        let idle = point(&b, &Operating::at(rpm(900.0), bar(-0.65))).unwrap();
        let off = point(&b, &Operating::at(rpm(900.0), bar(-0.65)).with_the_reference_hose_off()).unwrap();
        println!(
            "idle on {:.3} off {:.3} mode {:?} ret {:.1}",
            idle.rail_pressure().pascals() / 1e5,
            off.rail_pressure().pascals() / 1e5,
            idle.regulators[0].mode,
            idle.return_flow().value * 3.6e6
        );
    }
}
