//! The parts of the fuel system: what each one does to pressure, flow, voltage or current.
//!
//! Laws take and give quantities; the kernels that the solvers call (`drop`, `flow`, `friction_factor_*`)
//! take SI `f64` and give the value with its derivative. A part never imports another part, except the
//! [`orifice`] law, which is shared by everything that throttles.

pub mod air; // dry air: constants of the trade, and the real gas
pub mod check_valve; // one-way valve: cracking pressure, orifice, tight when closed
pub mod cubic_table; // a smooth law by cubics in even cells
pub mod cylinder; // slider-crank volume, valves, burn and heat loss
pub mod engine; // demand for air and fuel, charge, altitude, power corrections
pub mod filter; // Darcy-Forchheimer, packed beds, filtration ratio
pub mod gas; // perfect gas and its flow through a restriction
pub mod injector; // static flow, dead time, low-pulse region, spread of a set
pub mod line; // friction, fittings, bores, unsteady closed forms
pub mod manifold; // filling and emptying, boost build-up
pub mod motor; // permanent-magnet motor: volts to torque and speed
pub mod orifice; // orifice law, discharge coefficients, valve sizing, poppets
pub mod power_table; // a power by tables, whatever the size of its argument
pub mod pump; // motor and element solved together, law from rating rows
pub mod regulator; // diaphragm, spring, poppet, reference port
pub mod suction; // tank head, strainer, vent, margin above boiling
pub mod surge_pot; // time to empty
pub mod wiring; // gauges, copper, contacts, per-side drops
