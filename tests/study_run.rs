//! Plans and runs: the same digits on any number of threads and after a stop; nothing dropped silently.
use railrise::spec::distribution::Distribution;
use railrise::study::plan::Design;
use railrise::study::runs::End;
use railrise::study::{
    Control, Criterion, Failure, FunctionModel, Input, Model, Output, Plan, Question, Runs, Sampling,
    StudyError,
};
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

fn inputs() -> Vec<Input> {
    vec![
        Input::new("volts", "V", Distribution::Normal { mean: 13.8, sd: 0.25 }),
        Input::new("ohms", "ohm", Distribution::Lognormal { median: 0.06, sigma_ln: 0.5 }).not_known_yet(),
        Input::new("pump", "-", Distribution::TruncatedNormal { mean: 1.0, sd: 0.03, low: 0.9, high: 1.1 }),
    ]
}

fn outputs() -> Vec<Output> {
    vec![Output::new("flow", "L/h"), Output::new("drop", "V")]
}

/// A small invented pump: flow falls with the voltage drop; no answer where the drop passes 3 V.
fn model() -> impl Model {
    FunctionModel::new(inputs(), outputs(), |x: &[f64]| {
        let drop = 12.0 * x[1];
        if drop > 3.0 {
            return Err(Failure::new("pump stalls", format!("drop {drop:.2} V")));
        }
        Ok(vec![150.0 * x[2] * (x[0] - drop) / 13.0, drop])
    })
    .identified_as("invented pump, first form")
}

fn on<T: Send>(threads: usize, f: impl FnOnce() -> T + Send) -> T {
    rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(f)
}

fn bits(runs: &Runs) -> Vec<u64> {
    ["flow", "drop"].iter().flat_map(|o| runs.output(o).unwrap()).map(|v| v.to_bits()).collect()
}

fn plans(model: &dyn Model) -> Vec<Plan> {
    vec![
        Plan::tolerance(model).sampling(Sampling::Plain).draws(5001).seed(4),
        Plan::tolerance(model).sampling(Sampling::LatinHypercube).draws(5000).seed(4),
        Plan::tolerance(model).draws(5000).seed(4).correlate("volts", "pump", 0.4),
        Plan::sensitivity(model, 500).seed(4),
        Plan::nested(model, 70, 90).seed(4),
    ]
}

#[test]
fn digits_do_not_depend_on_threads_or_stops() {
    let model = model();
    for plan in plans(&model) {
        let one = on(1, || plan.run(&model).unwrap());
        let two = on(2, || plan.run(&model).unwrap());
        assert_eq!(bits(&one), bits(&two));
        assert_eq!(one.reasons(), two.reasons());
        assert_eq!(one.failed().collect::<Vec<_>>(), two.failed().collect::<Vec<_>>());
        assert_eq!(one.done(), plan.runs());
        // Paused twice, saved and read back in between, and gone on with another number of threads.
        let path = std::env::temp_dir().join(format!(
            "railrise-runs-{}-{}.bin",
            std::process::id(),
            plan.input_hash()
        ));
        let mut runs = on(2, || {
            plan.run_with(&model, &Control { pause_after: Some(900), ..Control::default() }).unwrap()
        });
        assert!(runs.done() >= 900 && runs.done() < plan.runs() && runs.end() == End::Paused);
        runs.save(&path).unwrap();
        let read = Runs::load(&path).unwrap();
        assert_eq!(bits(&read), bits(&runs));
        runs = on(1, || {
            read.resume(&model, &Control { pause_after: Some(2000), ..Control::default() }).unwrap()
        });
        runs = on(2, || runs.resume(&model, &Control::default()).unwrap());
        std::fs::remove_file(&path).unwrap();
        assert_eq!(bits(&runs), bits(&one));
        assert_eq!(runs.reasons(), one.reasons());
        assert_eq!(runs.end(), End::Complete);
        assert_eq!(runs.provenance(), one.provenance());
    }
}

#[test]
fn a_cancelled_run_keeps_its_first_part_and_says_so() {
    let cancel = AtomicBool::new(false);
    let count = AtomicU64::new(0);
    let slow = FunctionModel::new(inputs(), outputs(), |x: &[f64]| {
        if count.fetch_add(1, Ordering::Relaxed) == 700 {
            cancel.store(true, Ordering::Relaxed);
        }
        Ok(vec![x[0], x[1]])
    });
    let plan = Plan::tolerance(&slow).sampling(Sampling::Plain).draws(100_000).seed(8);
    let control = Control { cancel: Some(&cancel), ..Control::default() };
    let runs = on(2, || plan.run_with(&slow, &control).unwrap());
    assert_eq!(runs.end(), End::Cancelled);
    assert!(runs.done() >= 700 && runs.done() < 10_000, "{}", runs.done());
    let said = runs.findings(&Question::default()).unwrap();
    assert_eq!(said.provenance.runs, runs.done());
    assert!(said.to_string().contains("cancelled, 100000 were planned"), "{said}");
    cancel.store(false, Ordering::Relaxed);
    let whole = runs.clone().resume(&slow, &Control::default()).unwrap();
    assert_eq!(whole.done(), 100_000);
    assert_eq!(bits(&whole)[..runs.done() as usize], bits(&runs)[..runs.done() as usize]);
}

#[test]
fn failed_runs_are_counted_and_explained() {
    let model = model();
    let runs = Plan::tolerance(&model).draws(1 << 14).seed(2).run(&model).unwrap();
    // ln(3 / 0.72) / 0.5 = 2.854: one tail of the normal law, 0.2157 % (scipy 1.17.1 norm.sf).
    let share = runs.failed_count() as f64 / runs.done() as f64;
    assert!((share - 0.002157).abs() < 0.0004, "{share}");
    let reason = &runs.reasons()[0];
    assert_eq!((reason.reason.as_str(), reason.count), ("pump stalls", runs.failed_count()));
    assert!(reason.examples.len() == 5 && reason.examples[0].1.starts_with("drop 3"));
    let question =
        Question { criteria: vec![Criterion::below("short of fuel", "flow", 127.0)], ..Question::default() };
    let found = runs.findings(&question).unwrap();
    assert_eq!(found.without_answer, runs.failed_count());
    assert_eq!(found.outputs[0].answers + found.without_answer, runs.done());
    let chance = &found.chances[0];
    assert_eq!(chance.of + found.without_answer, runs.done());
    assert!(chance.high_if_no_answer_fails > chance.chance.interval.unwrap().high + 0.001);
    let text = found.to_string();
    assert!(text.contains("pump stalls") && text.contains("gave no answer"), "{text}");
}

#[test]
fn a_panic_or_a_nan_is_a_failed_run_and_not_the_end() {
    let model = FunctionModel::new(inputs(), outputs(), |x: &[f64]| {
        assert!(x[0] < 14.4, "voltage {} out of range", x[0]);
        Ok(vec![if x[0] < 13.2 { f64::NAN } else { x[0] }, x[1]])
    });
    let runs = Plan::tolerance(&model).sampling(Sampling::Plain).draws(3000).seed(2).run(&model).unwrap();
    let volts = &runs.inputs(0, 3000).unwrap()[0];
    let (high, low) =
        (volts.iter().filter(|v| **v >= 14.4).count(), volts.iter().filter(|v| **v < 13.2).count());
    let count =
        |reason: &str| runs.reasons().iter().find(|r| r.reason == reason).map_or(0, |r| r.count as usize);
    assert!(high > 10 && low > 10);
    assert_eq!(count("the model panicked"), high);
    assert_eq!(count("an output is not a number"), low);
    assert!(runs.reasons().iter().any(|r| r.examples.iter().any(|e| e.1.contains("out of range"))));
}

#[test]
fn progress_is_told_and_the_cost_known_before() {
    let model = model();
    let plan = Plan::tolerance(&model).draws(1 << 16);
    let cost = plan.cost(&model).unwrap();
    // Two answers; an input with its order beside them.
    assert_eq!((cost.runs, cost.memory), (1 << 16, (1 << 16) * 8 * (2 + 3)));
    assert!(cost.time.as_secs_f64() > 0.0 && cost.to_string().contains("65536 runs"));
    let told = Mutex::new(Vec::new());
    let observer = |p: &railrise::study::Progress| told.lock().unwrap().push(p.clone());
    plan.run_with(&model, &Control { observer: Some(&observer), ..Control::default() }).unwrap();
    let told = told.into_inner().unwrap();
    let last = told.last().unwrap();
    assert_eq!((last.done, last.total), (1 << 16, 1 << 16));
    assert!(told.windows(2).all(|w| w[0].done < w[1].done));
}

#[test]
fn stale_runs_and_foreign_models_are_refused() {
    let model = model();
    let plan = Plan::tolerance(&model).draws(100);
    let runs = plan.run(&model).unwrap();
    let other =
        FunctionModel::new(inputs(), outputs(), |_: &[f64]| Ok(vec![0.0, 0.0])).identified_as("another");
    assert!(matches!(plan.run(&other), Err(StudyError::Mismatch(_))));
    assert!(matches!(runs.clone().resume(&other, &Control::default()), Err(StudyError::Mismatch(_))));
    // Each change of the plan is another plan, with another fingerprint; runs keep theirs.
    let hashes = [
        plan.input_hash(),
        plan.clone().seed(2).input_hash(),
        plan.clone().draws(10_000).input_hash(),
        plan.clone().correlate("volts", "pump", 0.1).input_hash(),
        Plan::tolerance(&other).draws(100).input_hash(),
    ];
    for (i, a) in hashes.iter().enumerate() {
        assert!(hashes[..i].iter().all(|b| b != a));
    }
    assert_eq!(runs.provenance().input_hash, plan.input_hash());
    // The wrong question names the right plan.
    let error = runs.indices("flow", 0.95).unwrap_err().to_string();
    assert!(error.contains("Plan::sensitivity"), "{error}");
    let error = runs.output("flwo").unwrap_err().to_string();
    assert!(error.contains("flow, drop"), "{error}");
}

#[test]
fn damaged_files_are_refused() {
    let model = model();
    let path = std::env::temp_dir().join(format!("railrise-damaged-{}.bin", std::process::id()));
    Plan::tolerance(&model).draws(100).run(&model).unwrap().save(&path).unwrap();
    let mut bytes = std::fs::read(&path).unwrap();
    let last = bytes.len() - 3;
    bytes[last] ^= 1;
    std::fs::write(&path, &bytes).unwrap();
    assert!(Runs::load(&path).unwrap_err().to_string().contains("checksum"));
    std::fs::write(&path, &bytes[..last]).unwrap();
    assert!(Runs::load(&path).unwrap_err().to_string().contains("cut short"));
    std::fs::write(&path, "something else\n").unwrap();
    assert!(Runs::load(&path).unwrap_err().to_string().contains("not a file of saved runs"));
    std::fs::remove_file(&path).unwrap();
}

#[test]
fn sobol_draws_are_rounded_to_whole_powers_of_two_a_repeat() {
    let model = model();
    let plan = Plan::tolerance(&model).draws(10_000);
    assert!(matches!(plan.design(), Design::Sample { per_repeat: 1024, repeats: 16, .. }));
    assert_eq!(plan.runs(), 16_384);
    assert_eq!(plan.sampling(Sampling::Plain).draws(10_000).runs(), 10_000);
}

#[test]
fn senseless_plans_are_refused() {
    let model = model();
    let bad = |plan: Plan| plan.check().unwrap_err().to_string();
    assert!(bad(Plan::tolerance(&model).correlate("volts", "amps", 0.5)).contains("volts, ohms, pump"));
    assert!(bad(Plan::tolerance(&model).repeats(0)).contains("no runs"));
    assert!(bad(Plan::sensitivity(&model, 64).correlate("volts", "pump", 0.5)).contains("different groups"));
    assert!(
        Plan::sensitivity(&model, 64)
            .correlate("volts", "pump", 0.5)
            .group("supply", &["volts", "pump"])
            .check()
            .is_ok()
    );
    assert!(bad(Plan::listed(&model, vec![vec![1.0]])).contains("point 0 has 1 values for 3 inputs"));
    let twice =
        FunctionModel::new(vec![inputs()[0].clone(), inputs()[0].clone()], outputs(), |_: &[f64]| Ok(vec![]));
    assert!(bad(Plan::tolerance(&twice)).contains("repeats the name 'volts'"));
    let wrong = FunctionModel::new(
        vec![Input::new("a", "", Distribution::Normal { mean: 0.0, sd: -1.0 })],
        outputs(),
        |_: &[f64]| Ok(vec![]),
    );
    assert!(bad(Plan::tolerance(&wrong)).contains("input 'a': normal law: sd is -1"));
}

#[test]
fn convergence_is_said_in_words_and_holds() {
    let model = FunctionModel::new(
        vec![Input::new("u", "", Distribution::Uniform { low: 0.0, high: 1.0 })],
        vec![Output::new("u", "")],
        |x: &[f64]| Ok(vec![x[0]]),
    );
    let question = Question {
        criteria: vec![Criterion::above("high", "u", 0.9)],
        wanted_half_width: 0.01,
        ..Question::default()
    };
    let plan = |n| Plan::tolerance(&model).sampling(Sampling::Plain).draws(n);
    let found = plan(400).run(&model).unwrap().findings(&question).unwrap();
    let c = &found.chances[0].convergence;
    assert!(!c.enough && c.words.starts_with("not enough") && c.words.contains("more draws"), "{}", c.words);
    // z^2 p (1-p) / h^2 = 3457 draws in all, worked by hand; the forecast comes from 400 draws.
    assert!((2000..5000).contains(&(c.more + 400)), "{}", c.more);
    let again = plan(400 + c.more + 400).run(&model).unwrap().findings(&question).unwrap();
    assert!(again.chances[0].convergence.enough, "{}", again.chances[0].convergence.words);
    // None failing: 1 - 0.025^(1/n) <= 2 h needs n = ln 0.025 / ln 0.98 = 183 by hand.
    let never = Question { criteria: vec![Criterion::above("never", "u", 2.0)], ..question };
    let c = plan(100).run(&model).unwrap().findings(&never).unwrap().chances[0].convergence.clone();
    assert!((80..=90).contains(&c.more), "{}", c.words);
}

#[test]
fn ten_million_draws_stay_below_two_gibibytes() {
    // Peak resident memory of this process as the kernel counts it; other tests of the run only add to it.
    let peak = || {
        std::fs::read_to_string("/proc/self/status").ok().and_then(|s| {
            let line = s.lines().find(|l| l.starts_with("VmHWM:"))?.to_string();
            line.split_whitespace().nth(1)?.parse::<u64>().ok()
        })
    };
    let inputs = (0..20)
        .map(|i| Input::new(format!("x{i}"), "", Distribution::Normal { mean: 0.0, sd: 1.0 }))
        .collect();
    let model =
        FunctionModel::new(inputs, vec![Output::new("y", "")], |x: &[f64]| Ok(vec![x.iter().sum::<f64>()]));
    let plan = Plan::tolerance(&model).draws(10_000_000).seed(6);
    assert!(plan.runs() >= 10_000_000);
    let runs = plan.run(&model).unwrap();
    let found =
        runs.findings(&Question { percentiles: vec![0.0001, 0.5, 0.9999], ..Question::default() }).unwrap();
    // Sum of twenty unit normals: sd sqrt 20, 0.01 % point -3.719016485455709 sqrt 20 (scipy 1.17.1 norm.ppf).
    let low = &found.outputs[0].percentiles[0].1;
    let truth = -3.719016485455709 * 20.0_f64.sqrt();
    // Standard error of plain draws 0.036; four of them.
    assert!((low.value - truth).abs() < 0.15, "{low}");
    if let Some(kib) = peak() {
        println!(
            "{} draws, peak memory {:.2} GiB, {:.2} s",
            plan.runs(),
            kib as f64 / (1 << 20) as f64,
            runs.seconds()
        );
        assert!(kib < 2 << 20, "{kib} KiB");
    }
}
