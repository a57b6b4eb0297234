//! The one integration-test binary: the line above each module says what it holds.

// The course as it is stored: numbers in prose, checks of the trade, index, figures.
mod course;
// Boost, altitude and charge temperature against the boost rows.
mod boost_reference;
// Every key of a build file: words, range, example, source.
mod build_keys;
// What figures say about their data: crossings, counts, notes, tables, frames.
mod chart_figures;
// Figures and sliders inside an exported page.
#[cfg(feature = "page")]
mod chart_page;
// Figures that the chart tests draw.
mod chart_samples;
// Label spreading against the min-max formula.
mod chart_spread;
// Colours apart in every kind of sight; text widths and wrapping.
mod chart_style;
// Text in figures never overlaps, clips or shrinks; figures are labelled for screen readers.
mod chart_text;
// The program as a person meets it: messages, exit codes, files.
#[cfg(feature = "kernel")]
mod cli;
// Laws over every build and layout, at any point and setting.
mod circuit_laws;
// Every by-passed flow below a point's is tried without a solver.
mod circuit_least;
// Limits, twins, tables' ends and single figures by hand, over every build.
mod circuit_limits;
// Layouts of the trade solved; circuits and files refused by their message.
mod circuit_layouts;
// Slider-crank, Wiebe and compressible flow against the engine rows.
mod cylinder_reference;
// Wiring and motor against their reference rows.
mod electric_reference;
// Demand, altitude, power corrections against the engine rows; practice rows that state a number of a law.
mod engine_reference;
// Workings add up: printed formula, printed numbers, printed result.
mod explain_workings;
// Three networks against EPANET's recorded answers.
mod epanet_networks;
// Each fault shows what the trade knows it by.
mod fault_signatures;
// Filters against their reference rows.
mod filter_reference;
// The floor table is true.
mod floors;
// Pump, regulator and injector at any setting: slopes, inverses, monotone.
mod circuit_parts;
mod circuit_rare_parts;
// The trade's twelve checks of any model.
mod job_checks;
// Fuel properties against reference rows; laws over any blend.
mod fuel_reference;
// Low-pulse tables in the truth and in the calibration.
mod injector_short_pulses;
// Injectors against their reference rows.
mod injector_reference;
// Beginners' errors in plain words.
#[cfg(feature = "kernel")]
mod kernel_errors;
// Notebooks without a reader: outputs, errors, parameters, comparison.
#[cfg(feature = "kernel")]
mod kernel_run;
// What each lesson's figure names; check cells are kind and specific.
mod lessons;
// Lines, steady and unsteady, against their reference rows.
mod line_reference;
// Notebooks are read and written without loss.
#[cfg(feature = "page")]
mod notebook_document;
// Pages: balanced, self-contained, escaped, legible.
#[cfg(feature = "page")]
mod notebook_page;
// Orifices, valve sizing and poppets against their reference rows.
mod orifice_reference;
// Pumps found from one, two and many rows: coverage, residuals, refusals.
mod pump_identification;
// Every part at any input: odd, rising, true slopes, limits, inverses, refusals.
mod part_laws;
// The four demo builds: fuelled, short, and each cure.
mod steady_demo;
// Every law written out again and held against a point's printed numbers.
mod steady_reevaluated;
// The fast form of the common circuit against the general solver; its effort, bits and refusals.
mod steady_lanes;
// Run loop: landing, stopping, refusing, watching, convergence.
mod stepper_behaviour;
// Events that no step shows: dips below zero, guards passed by a jump.
mod stepper_events;
// The exponential method: exact where linear, orders.
mod stepper_exponential;
// Steppers against published and closed-form solutions of reference problems.
mod stepper_reference;
// Studies of the demo builds, and study files.
mod study_build;
// Probability laws against outside quantiles and moments.
mod study_distribution;
// Bounded least squares against certified regressions.
mod study_fit;
// Intervals: published values, coverage by simulation.
mod study_interval;
// Rare failure against closed forms and the literature.
mod study_reliability;
// Every usable row of the statistics reference.
mod study_rows;
// Plans and runs: threads, cancel, resume, failures, memory.
mod study_run;
// Draws: published points, frozen values, correlation.
mod study_sampling;
// Shares of variance, tornado, contrasts, worth of measuring, comparison, sweeps.
mod study_sensitivity;
// Reader of the reference rows, and the count of those held.
mod support;
// Motored and fired cylinders: isentropic peak, mass, heat loss, port pressure.
mod transient_engine_gas;
// Default settings against another method, through what a workshop does.
mod transient_default;
// From edge to edge with the exponential method; which method a run takes.
mod transient_exponential;
// A manifold that fills and boost that builds: closed forms, the steady point, lags, air.
mod transient_intake;
// The circuit in time: accuracy, conservation, stops, events, refusals.
mod transient_network;
// Coil and needle: static limits, dead time, beside the table made from it.
mod transient_needles;
// Builds run through schedules: fixed point, presets, ledger, refusals, files.
mod transient_run;
// A throttle that is imposed, against the flow of gas through an orifice.
mod transient_throttle;
// A hose with waves: surge, periods, chambers, a published example; lumps converge to it.
mod transient_waves;
// The words of a cell for studies.
mod workshop_study;
// The words of a cell for changes in time.
mod workshop_transient;
// The circuit in time against another solver.
#[cfg(feature = "cvode")]
mod transient_oracle;
// The runs that a workshop makes, each against a closed form or the steady circuit.
mod transient_presets;
