//! Studies of the demo builds: inputs from stated spreads, repeatable, honest about what is lean and why.
use railrise::build::Build;
use railrise::quantity::rpm;
use railrise::steady::{Acceptance, Operating, limits};
use railrise::study::file::StudyFile;
use railrise::study::of_build::{BuildModel, Figure, shop_criteria};
use railrise::study::{Control, Model, Plan, Question};

fn demo(name: &str) -> Build {
    Build::read(format!("{}/datasets/hill-climb-car/{name}.toml", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

fn speeds(list: &[f64]) -> Vec<f64> {
    list.iter().map(|n| rpm(*n).value).collect()
}

#[test]
fn stated_spreads_become_inputs_in_the_units_shown() {
    let build = demo("raised-1.4-bar");
    let model = BuildModel::full_load(&build, &speeds(&[6500.0])).unwrap();
    let stated = build.parameters().filter(|(_, p)| p.spread.is_some()).count();
    assert_eq!(model.inputs().len(), stated);
    assert!(stated >= 15, "{stated}");
    let contacts = model.inputs().iter().find(|i| i.name == "main pump.feed_contacts").unwrap();
    assert_eq!(contacts.unit, "mΩ");
    assert!((contacts.law.median().unwrap() - 32.0).abs() < 1e-9);
    let temperature = model.inputs().iter().find(|i| i.name == "fuel.temperature").unwrap();
    assert_eq!(temperature.unit, "degC");
    assert!((temperature.law.quantile(0.0).unwrap() - 20.0).abs() < 1e-9);
}

#[test]
fn a_run_at_given_values_is_the_operating_point_at_those_values() {
    let build = demo("raised-1.4-bar");
    let model = BuildModel::full_load(&build, &speeds(&[5000.0, 6500.0])).unwrap();
    let x: Vec<f64> = model.inputs().iter().map(|i| i.law.quantile(0.3).unwrap()).collect();
    let mut y = vec![f64::NAN; model.outputs().len()];
    model.worker().run(&x, &mut y).unwrap();
    let changed = model.build_at(&x).unwrap();
    let at = |name: &str| y[model.outputs().iter().position(|o| o.name == name).unwrap()];
    let worst = speeds(&[5000.0, 6500.0])
        .iter()
        .map(|w| {
            let op = Operating::at(
                railrise::quantity::rad_per_s(*w),
                railrise::quantity::pa(build.full_load_boost(*w).unwrap()),
            );
            limits(&changed, &op, &Acceptance::default()).unwrap().headroom
        })
        .fold(f64::INFINITY, f64::min);
    assert!((at("headroom") - worst).abs() < 1e-9, "{} {worst}", at("headroom"));
    assert!(at("lambda over target") > 0.0 && at("worst cylinder over target") > at("lambda over target"));
}

#[test]
fn the_raised_car_is_lean_and_the_car_before_is_not() {
    let question = Question { criteria: shop_criteria(), ..Question::default() };
    let chance = |name: &str| {
        let model = BuildModel::full_load(&demo(name), &speeds(&[5000.0, 6500.0])).unwrap();
        let plan = Plan::tolerance(&model).draws(512).seed(1);
        let one = rayon::ThreadPoolBuilder::new()
            .num_threads(1)
            .build()
            .unwrap()
            .install(|| plan.run(&model).unwrap());
        let two = rayon::ThreadPoolBuilder::new()
            .num_threads(2)
            .build()
            .unwrap()
            .install(|| plan.run(&model).unwrap());
        for o in model.outputs() {
            let bits = |r: &railrise::study::Runs| {
                r.output(&o.name).unwrap().iter().map(|v| v.to_bits()).collect::<Vec<_>>()
            };
            assert_eq!(bits(&one), bits(&two), "{}", o.name);
        }
        let found = one.findings(&question).unwrap();
        println!("{name}: {:.1} us a run\n{found}", one.seconds() / one.done() as f64 * 1e6);
        assert!(found.without_answer as f64 <= 0.02 * one.done() as f64, "{found}");
        let lever = one.contrast(&question.criteria[1], 0.95).unwrap().inputs[0].input.clone();
        (found.chance("running lean").unwrap().chance.value, lever)
    };
    // At 0.7 bar the car is lean only where hot fuel boils at the pump; at 1.4 bar nearly always.
    let ((before, lever), (raised, _)) = (chance("before-0.7-bar"), chance("raised-1.4-bar"));
    assert!(before < 0.25 && raised > 0.90, "{before} {raised}");
    assert_eq!(lever, "fuel.temperature");
}

#[test]
fn a_study_file_is_read_run_and_reported() {
    let folder = format!("{}/datasets/hill-climb-car", env!("CARGO_MANIFEST_DIR"));
    let text = format!(
        r#"
build = "{folder}/raised-1.4-bar.toml"
rpm = ["6500 rpm"]
draws = 256
seed = 3
sensitivity = 16
[[criterion]]
name = "running lean"
figure = "lambda over target"
above = 0.10
[[criterion]]
name = "supply short"
figure = "headroom"
below = -0.2
[[correlate]]
a = "fuel.temperature"
b = "fuel.petrol_density"
rank = -0.3
[[option]]
name = "new wiring"
build = "{folder}/cure-wiring.toml"
"#
    );
    let report = StudyFile::from_toml(&text).unwrap().run(&Control::default()).unwrap();
    let shown = report.to_string();
    for part in [
        "The chance of running lean is",
        "seed 3",
        "new wiring",
        "Shares of the variance",
        "every input at its median",
    ] {
        assert!(shown.contains(part), "no \"{part}\" in:\n{shown}");
    }
    let json = serde_json::to_value(&report).unwrap();
    assert_eq!(json["findings"]["provenance"]["seed"], 3);
    assert_eq!(json["findings"]["provenance"]["input_hash"].as_str().unwrap().len(), 16);
    assert_eq!(json["comparison"]["options"][1], "new wiring");
}

#[test]
fn a_wrong_study_file_says_what_and_where() {
    let bad = |text: &str| StudyFile::from_toml(text).unwrap_err().to_string();
    let unknown = bad("build = \"x.toml\"\nrpm = [\"6500 rpm\"]\ndraw = 5\n");
    assert!(unknown.contains("line 3") && unknown.contains("draw"), "{unknown}");
    let both = bad("build = \"x\"\nrpm = []\n[[criterion]]\nname = \"lean\"\nfigure = \"duty\"\n");
    assert!(both.contains("one of above and below"), "{both}");
    let error = Figure::named("headrom").unwrap_err().to_string();
    assert!(error.contains("headroom") && error.contains("largest <channel>"), "{error}");
    let none = BuildModel::new(&demo("raised-1.4-bar"), &[], &Figure::CRITERIA).err().unwrap();
    assert!(none.to_string().contains("0 operating points"));
}

#[test]
fn values_for_the_outside_check() {
    use railrise::study::interval::{clopper_pearson, wilson};
    use railrise::study::sampling::sobol::Sobol;
    use railrise::study::summary::{QuantileKind, mean, quantile, sorted, standard_deviation};
    use serde_json::json;
    let points = Sobol::new(20).unwrap();
    let sobol: Vec<Vec<f64>> =
        (0..1000).map(|i| (0..20).map(|d| points.coordinate(d, i)).collect()).collect();
    // 64-bit FNV-1a over the points times 2^53 as little-endian integers; the same over scipy 1.17.1
    // qmc.Sobol(20, scramble=False, bits=53).random(1000).
    let hash = sobol.iter().flatten().fold(0xcbf2_9ce4_8422_2325_u64, |h, x| {
        ((x * (1_u64 << 53) as f64) as u64)
            .to_le_bytes()
            .iter()
            .fold(h, |h, b| (h ^ u64::from(*b)).wrapping_mul(0x0000_0100_0000_01b3))
    });
    assert_eq!(hash, SCIPY_HASH);
    // Set by the outside check (tests/outside/study_stats.py), which compares what is written here.
    let Ok(path) = std::env::var("RAILRISE_STUDY_VALUES") else { return };
    let model = BuildModel::full_load(&demo("raised-1.4-bar"), &speeds(&[6500.0])).unwrap();
    let runs = Plan::sensitivity(&model, 128).seed(5).run(&model).unwrap();
    let (mut indices, mut convergence) = (Vec::new(), Vec::new());
    for o in model.outputs() {
        let y = runs.output(&o.name).unwrap();
        let found = runs.indices(&o.name, 0.95).unwrap();
        if found.rows_without_answer > 0 {
            continue;
        }
        indices.push(json!({
            "name": o.name,
            "inputs": found.indices.iter().map(|i| &i.name).collect::<Vec<_>>(),
            "answers": y,
            "first": found.indices.iter().map(|i| i.first).collect::<Vec<_>>(),
            "total": found.indices.iter().map(|i| i.total).collect::<Vec<_>>(),
        }));
    }
    assert!(!indices.is_empty());
    let sample = Plan::tolerance(&model).repeats(1).draws(1024).seed(5).run(&model).unwrap();
    for o in model.outputs() {
        let y: Vec<f64> = sample.output(&o.name).unwrap().iter().copied().filter(|v| !v.is_nan()).collect();
        let found: Vec<(usize, f64, f64, f64)> = [64, 256, 1000]
            .iter()
            .map(|&n| {
                let part = &y[..n];
                (
                    n,
                    mean(part),
                    standard_deviation(part),
                    quantile(&sorted(part), 0.05, QuantileKind::default()),
                )
            })
            .collect();
        convergence.push(json!({ "name": o.name, "answers": y, "found": found }));
    }
    let intervals: Vec<_> = [(0, 10), (3, 17), (250, 4096), (999_000, 1_000_000)]
        .iter()
        .map(|&(k, n)| {
            let (w, c) = (wilson(k, n, 0.95), clopper_pearson(k, n, 0.95));
            (k, n, [w.low, w.high], [c.low, c.high])
        })
        .collect();
    let all =
        json!({ "sobol": sobol, "indices": indices, "convergence": convergence, "intervals": intervals });
    std::fs::write(path, all.to_string()).unwrap();
}

const SCIPY_HASH: u64 = 0x6c36affe71ccd6a5;

/// Where the circuit is the common one, the lanes answer, and they answer what the general solver answers.
#[test]
fn the_fast_path_gives_the_general_solvers_answers() {
    for name in ["before-0.7-bar", "raised-1.4-bar", "cure-second-pump"] {
        let make = || {
            BuildModel::full_load(&demo(name), &speeds(&[1500.0, 4000.0, 6500.0]))
                .unwrap()
                .with_spreads_by_grade()
                .unwrap()
        };
        let (fast, general) = (make(), make().through_the_general_solver());
        assert_eq!(fast.why_general(), None);
        let plan = Plan::tolerance(&fast).draws(96).seed(9);
        assert!(plan.cost(&fast).unwrap().to_string().ends_with("fast path"));
        assert!(
            plan.cost(&general).unwrap().to_string().contains("general solver, because it was asked for")
        );
        let (a, b) = (plan.run(&fast).unwrap(), plan.run(&general).unwrap());
        assert_eq!(a.failed().collect::<Vec<_>>(), b.failed().collect::<Vec<_>>(), "{name}");
        let mut compared = 0;
        for o in fast.outputs() {
            for (x, y) in a.output(&o.name).unwrap().iter().zip(b.output(&o.name).unwrap()) {
                if !x.is_nan() || !y.is_nan() {
                    assert!((x - y).abs() <= 1e-6 * y.abs().max(1.0), "{name}, {}: {x} {y}", o.name);
                    compared += 1;
                }
            }
        }
        assert!(compared as u64 > 6 * 9 * a.done() / 10);
        // One run alone has the bits of the same run among others.
        let x = a.inputs(5, 1).unwrap().concat();
        let mut y = vec![0.0; fast.outputs().len()];
        fast.worker().run(&x, &mut y).unwrap();
        for (o, y) in fast.outputs().iter().zip(y) {
            assert_eq!(a.output(&o.name).unwrap()[5].to_bits(), y.to_bits());
        }
    }
}

#[test]
fn other_circuits_take_the_general_solver_and_the_plan_says_why() {
    let folder = format!("{}/datasets/layouts", env!("CARGO_MANIFEST_DIR"));
    let build = Build::read(format!("{folder}/surge-pot-return-to-tank.toml")).unwrap();
    let model = BuildModel::full_load(&build, &speeds(&[4000.0])).unwrap().with_spreads_by_grade().unwrap();
    let plan = Plan::tolerance(&model).draws(16);
    let cost = plan.cost(&model).unwrap().to_string();
    assert!(cost.contains("general solver, because the circuit is not the common one"), "{cost}");
    assert_eq!(plan.run(&model).unwrap().done(), 16);
    // So does a wire by its class.
    let car = format!("{}/datasets/hill-climb-car/raised-1.4-bar.toml", env!("CARGO_MANIFEST_DIR"));
    let classed = Build::read(car).unwrap().with("main pump.wire_class", "flexible").unwrap();
    let model = BuildModel::full_load(&classed, &speeds(&[4000.0])).unwrap().with_spreads_by_grade().unwrap();
    let cost = Plan::tolerance(&model).draws(16).cost(&model).unwrap().to_string();
    assert!(cost.contains("general solver, because") && cost.contains("a wire by gauge or class"), "{cost}");
}

/// Widths by grade (common practice, no source).
#[test]
fn values_without_a_stated_spread_have_the_one_of_their_grade_and_say_so() {
    let build = demo("raised-1.4-bar");
    let stated = BuildModel::full_load(&build, &speeds(&[6500.0])).unwrap();
    let by_grade =
        BuildModel::full_load(&build, &speeds(&[6500.0])).unwrap().with_spreads_by_grade().unwrap();
    // What was stated is as it was, and the rest says where it comes from.
    for (a, b) in stated.inputs().iter().zip(by_grade.inputs()) {
        assert_eq!(a, b);
        assert!(a.basis.is_empty());
    }
    let added = &by_grade.inputs()[stated.inputs().len()..];
    assert!(added.len() >= 5 && added.iter().all(|i| i.basis.contains("common practice, no source")));
    let find = |name: &str| added.iter().find(|i| i.name == name).unwrap();
    // The return's contacts are assumed, the return hose's fittings too, the filter's loss is.
    assert_eq!(find("main pump.return_contacts").law.name(), "lognormal");
    assert!(find("return hose.fittings").basis.contains("grade C"));
    // Half the width is a matter of grade: a measured density is known to 2, one from a data sheet to 10 kg/m³.
    let width = |grade: &str| {
        let text = std::fs::read_to_string(format!(
            "{}/datasets/hill-climb-car/raised-1.4-bar.toml",
            env!("CARGO_MANIFEST_DIR")
        ))
        .unwrap();
        let line = text.lines().find(|l| l.starts_with("petrol_density")).unwrap();
        let text =
            text.replace(line, &format!("petrol_density = {{ value = \"745 kg/m³\", grade = \"{grade}\" }}"));
        let model = BuildModel::full_load(&Build::from_toml(&text).unwrap(), &speeds(&[6500.0])).unwrap();
        let model = model.with_spreads_by_grade().unwrap();
        let law = &model.inputs().iter().find(|i| i.name == "fuel.petrol_density").unwrap().law;
        (law.quantile(0.0).unwrap(), law.quantile(1.0).unwrap())
    };
    let near = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).abs() < 1e-9 && (a.1 - b.1).abs() < 1e-9;
    assert!(near(width("measured"), (743.0, 747.0)));
    assert!(near(width("data sheet"), (735.0, 755.0)));
    assert!(near(width("assumed"), (720.0, 775.0)));
    // More doubt, wider answers.
    let spread = |m: &BuildModel| {
        let runs = Plan::tolerance(m).draws(512).run(m).unwrap();
        let found = runs.findings(&Question::default()).unwrap();
        found.outputs.iter().find(|o| o.name == "duty").unwrap().sd
    };
    assert!(spread(&by_grade) > 1.05 * spread(&stated));
}

#[test]
fn a_plan_shows_its_inputs_and_spreads_by_grade_can_be_left_out() {
    let folder = format!("{}/datasets/hill-climb-car", env!("CARGO_MANIFEST_DIR"));
    let text = format!("build = \"{folder}/raised-1.4-bar.toml\"\nrpm = [\"6500 rpm\"]\ndraws = 64\n");
    let with = StudyFile::from_toml(&text).unwrap().outline().unwrap();
    let shown = with.to_string();
    for part in ["tolerance: 64 runs", "fast path", "* main pump.return_contacts: lognormal", "no source"] {
        assert!(shown.contains(part), "no \"{part}\" in:\n{shown}");
    }
    let without = StudyFile::from_toml(&format!("{text}default_spreads = false\n")).unwrap();
    let without = without.outline().unwrap();
    assert!(without.inputs.len() < with.inputs.len());
    assert!(without.inputs.iter().all(|i| i.basis.is_empty()));
}

/// Stopped on request, kept in a file, gone on with: the digits of a run without a stop.
#[test]
fn a_study_that_was_stopped_goes_on_from_its_file() {
    use railrise::study::file::Desk;
    use std::sync::atomic::{AtomicBool, Ordering};
    let folder = format!("{}/datasets/hill-climb-car", env!("CARGO_MANIFEST_DIR"));
    let text = format!(
        "build = \"{folder}/raised-1.4-bar.toml\"\nrpm = [\"6500 rpm\"]\ndraws = 20000\nsensitivity = 8\n"
    );
    let file = StudyFile::from_toml(&text).unwrap();
    let kept = std::env::temp_dir().join(format!("railrise-{}-kept.runs", std::process::id()));
    let cancel = AtomicBool::new(true); // asked before it began: as early as can be
    let control = Control { cancel: Some(&cancel), ..Control::default() };
    let error = file.run_at(&Desk { control, keep: Some(&kept), first: None }).unwrap_err().to_string();
    assert!(error.contains("no runs yet"), "{error}");
    cancel.store(false, Ordering::Relaxed);
    let stop = |p: &railrise::study::Progress| {
        if p.done >= 2000 {
            cancel.store(true, Ordering::Relaxed);
        }
    };
    // The observer is told at the pause, whatever the machine.
    let control = Control { cancel: Some(&cancel), observer: Some(&stop), pause_after: Some(2000) };
    let part = file.run_at(&Desk { control, keep: Some(&kept), first: None }).unwrap();
    let provenance = &part.findings.provenance;
    assert_eq!((provenance.runs, provenance.end), (2048, railrise::study::runs::End::Cancelled));
    assert_eq!(part.left_out, ["the sensitivity study: cancelled"]);
    assert!(part.to_string().contains("Left out: the sensitivity"), "{part}");
    let whole = file.run(&Control::default()).unwrap();
    let resumed = file.run_at(&Desk { keep: Some(&kept), ..Desk::default() }).unwrap();
    assert_eq!(whole.findings.outputs, resumed.findings.outputs);
    assert_eq!(whole.findings.chances, resumed.findings.chances);
    let other = StudyFile::from_toml(&format!("{text}seed = 2\n")).unwrap();
    let error = other.run_at(&Desk { keep: Some(&kept), ..Desk::default() }).unwrap_err().to_string();
    assert!(error.contains("another study") && error.contains("name another file"), "{error}");
    std::fs::remove_file(&kept).unwrap();
}

/// A parameter of the schedule and one of the build on one grid: how fast boost comes, and the pump's wear.
#[test]
fn a_sweep_moves_values_of_build_and_schedule_together() {
    use railrise::quantity::{bar, ms, s};
    use railrise::schedule::Schedule;
    use railrise::spec::distribution::Distribution::Fixed;
    use railrise::study::sweep::Swept;
    use railrise::study::{Failure, FunctionModel, Input, Output};
    use railrise::transient::{Options, run};
    let build = demo("raised-1.4-bar");
    let model = FunctionModel::new(
        vec![
            Input::new("boost comes within", "ms", Fixed { value: 100.0 }),
            Input::new("main pump.wear", "1", Fixed { value: 0.03 }),
        ],
        vec![Output::new("lowest differential pressure", "bar")],
        |x: &[f64]| {
            let fail = |e: railrise::error::Error| Failure::new("no run", e.to_string());
            let mut car = build.clone();
            car.set_si("main pump.wear", x[1]).map_err(fail)?;
            let step = Schedule::boost_step(rpm(4000.0), bar(0.2), bar(1.0), ms(x[0]), s(0.45));
            let found = run(&car, &step, &Options { warm_up: 0.2, ..Options::default() }).map_err(fail)?;
            let (low, _) = found.range("differential pressure").map_err(fail)?;
            Ok(vec![low.si / 1e5])
        },
    );
    let axes = [("boost comes within", vec![20.0, 200.0]), ("main pump.wear", vec![0.0, 0.1])];
    let swept = Swept::grid(&model, &axes, &Control::default()).unwrap();
    assert!(swept.reasons().is_empty(), "{:?}", swept.reasons());
    let low =
        |wear: f64| swept.at("main pump.wear", wear).unwrap().line("lowest differential pressure").unwrap().1;
    // A worn pump holds less, however fast boost comes.
    assert!(low(0.1)[0] < low(0.0)[0] && low(0.1)[1] < low(0.0)[1], "{:?} {:?}", low(0.0), low(0.1));
}

/// A build that names a table beside it, in a folder of its own.
fn with_bench_table(table: &str, spread: &str) -> (tempfile::TempDir, railrise::error::Result<Build>) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("bench.csv"), table).unwrap();
    let text = std::fs::read_to_string(format!(
        "{}/datasets/hill-climb-car/raised-1.4-bar.toml",
        env!("CARGO_MANIFEST_DIR")
    ))
    .unwrap();
    let stated =
        r#"voltage_offset = { value = "0 V", spread = { law = "normal", mean = "0 V", sd = "0.25 V" } }"#;
    assert!(text.contains(stated));
    let file = folder.path().join("car.toml");
    std::fs::write(
        &file,
        text.replace(stated, &format!(r#"voltage_offset = {{ value = "0 V", spread = {spread} }}"#)),
    )
    .unwrap();
    let build = Build::read(&file);
    (folder, build)
}

#[test]
fn measured_values_are_read_from_a_table_beside_the_build() {
    let law = r#"{ law = "empirical", file = "bench.csv", column = "offset" }"#;
    let (_kept, build) =
        with_bench_table("# invented\nwho,offset [mV]\nann,-200\n\"bea, twice\",100\ncem,\ndon,340\n", law);
    let build = build.unwrap();
    let model = BuildModel::full_load(&build, &speeds(&[6500.0])).unwrap();
    let input = model.inputs().iter().find(|i| i.name == "supply.voltage_offset").unwrap();
    let values = match &input.law {
        railrise::spec::distribution::Distribution::Empirical { values } => values.clone(),
        other => panic!("{other:?}"),
    };
    assert_eq!((values, input.unit.as_str()), (vec![-0.2, 0.1, 0.34], "V"));
    // What the table says belongs to the input: another table is another study.
    let (_kept, other) = with_bench_table("offset [mV]\n-200\n", law);
    assert_ne!(build.input_digest(), other.unwrap().input_digest());
    for (table, law, words) in [
        ("offset\n1\n", law, ["line 1", "has no unit", "offset [unit]"]),
        ("ofset [V]\n1\n", law, ["there is no column \"offset\"", "did you mean", "ofset"]),
        ("offset [V]\n0.1\nlots\n", law, ["line 3", "\"lots\"", "no number"]),
        ("offset [V]\r\n0.1\r\n\r\nlots\r\n", law, ["line 4", "\"lots\"", "no number"]),
        ("# ours\n\noffset [V]\n0.1\n# odd\n\nlots\n", law, ["line 7", "\"lots\"", "no number"]),
        ("# ours\n# and more\n\noffset\n1\n", law, ["line 4", "has no unit", "offset [unit]"]),
        ("# ours\nofset [V]\n1\n", law, ["line 2", "there is no column \"offset\"", "ofset"]),
        ("# ours\n\noffset [V],x\n# odd\n1\n", law, ["line 5", "bench.csv", "fields"]),
        ("", law, ["bench.csv", "is empty", "static flow [cc/min]"]),
        ("# ours\n", law, ["bench.csv", "has no line of names", "static flow [cc/min]"]),
        ("offset [bar]\n0.1\n", law, ["line 2", "pressure", "voltage"]),
        ("offset [V]\n", law, ["offset", "holds no value", "bench.csv"]),
        (
            "a [V],b [V]\n1,2\n",
            r#"{ law = "empirical", file = "bench.csv" }"#,
            ["2 columns", "name one", "\"b\""],
        ),
        (
            "",
            r#"{ law = "empirical", file = "nowhere.csv" }"#,
            ["nowhere.csv", "cannot be read", "voltage_offset"],
        ),
        (
            "offset [V]\n1\n",
            r#"{ law = "normal", mean = "0 V", sd = "0.2 V", file = "bench.csv" }"#,
            ["spread.file", "beside the law \"normal\"", "take file out"],
        ),
        (
            "offset [V]\n1\n",
            r#"{ law = "uniform", low = "0 V", high = "0.2 V", column = "offset" }"#,
            ["spread.column", "beside the law \"uniform\"", "take column out"],
        ),
        (
            "offset [V]\n1\n",
            r#"{ law = "empirical", values = ["1 V", "2 V"], column = "offset" }"#,
            ["spread.column", "\"offset\" without a file", "write file"],
        ),
        (
            "offset [V]\n1\n",
            r#"{ law = "empirical", file = "bench.csv", values = ["1 V", "2 V"] }"#,
            ["spread.values", "beside the file \"bench.csv\"", "take out values or file"],
        ),
        (
            "offset [V]\n1\n",
            r#"{ law = "empirical", file = 3 }"#,
            ["spread.file", "found 3", "file = \"bench.csv\""],
        ),
        (
            "offset [V]\n1\n",
            r#"{ law = "empirical", file = "bench.csv", column = ["offset"] }"#,
            ["spread.column", "a text is needed", "column = \"static flow\""],
        ),
        (
            "# ours\noffset [V],offset [V]\n1,2\n",
            law,
            ["line 2", "two columns are named \"offset\"", "its own name"],
        ),
        ("offset [V]\n1\nNaN\n", law, ["line 3", "\"NaN\" in column \"offset\"", "not finite"]),
        ("offset [V]\n1\n\n-inf\n", law, ["line 4", "\"-inf\" in column \"offset\"", "not finite"]),
        ("offset [V]\n1\n400\n", law, ["line 3", "\"400\" in column \"offset\"", "outside its range, −4"]),
        (
            "offset [V]\n1\n",
            r#"{ law = "empirical", file = "" }"#,
            ["spread.file", "names no file", "file = \"bench.csv\""],
        ),
        (
            "offset [V]\n1\n",
            r#"{ file = "bench.csv" }"#,
            ["spread.file", "without a law", "law = \"empirical\""],
        ),
        // One rule for every number with a unit.
        (
            "",
            r#"{ law = "normal", mean = 1, sd = "0.2 V" }"#,
            ["spread.mean", "found 1, a voltage without its unit", "\"0 V\""],
        ),
        ("", r#"{ law = "normal", mean = "1 V", sd = 0.2 }"#, ["spread.sd", "found 0.2", "without its unit"]),
        (
            "",
            r#"{ law = "empirical", values = ["1 V", 0.5] }"#,
            ["spread.values", "found 0.5", "without its unit"],
        ),
        // A law's ends, a sample and a middle lie where the value itself may.
        (
            "",
            r#"{ law = "uniform", low = "-5 V", high = "1 V" }"#,
            ["spread.low", "outside its range", "accepted: −4"],
        ),
        (
            "",
            r#"{ law = "empirical", values = ["1 V", "3 V"] }"#,
            ["spread.values", "found 3", "outside its range"],
        ),
        (
            "",
            r#"{ law = "normal", mean = "2.5 V", sd = "0.2 V" }"#,
            ["spread.mean", "found 2.5", "outside its range"],
        ),
    ] {
        let said = with_bench_table(table, law).1.unwrap_err().to_string();
        assert!(words.iter().all(|w| said.contains(w)), "{words:?} not in:\n{said}");
    }
}

/// Shares, weights and degrees of freedom are numbers; what carries the value's unit is written with it.
#[test]
fn a_spread_takes_bare_numbers_where_there_is_no_unit() {
    for law in [
        r#"{ law = "discrete", values = ["-1 V", "2 V"], weights = [3, 0.5] }"#,
        r#"{ law = "student_t", location = "0 V", scale = "100 mV", dof = 4 }"#,
        r#"{ law = "curvilinear_trapezoid", low = "-1 V", high = "1 V", inexactness = "100 mV" }"#,
        r#"{ law = "normal", mean = "1 V", sd = "0.2 V" }"#,
    ] {
        with_bench_table("", law).1.unwrap_or_else(|e| panic!("{law}: {e}"));
    }
}

#[test]
fn each_injector_has_a_draw_of_its_own() {
    use railrise::spec::distribution::Distribution;
    let sd = 0.01;
    let mut build = demo("cure-second-pump");
    // Nothing else varies.
    let others: Vec<String> =
        build.parameters().filter(|(_, p)| p.spread.is_some()).map(|(path, _)| path).collect();
    for path in others {
        build.set_spread(&path, None).unwrap();
    }
    build.set_spread("injectors.each_flow", Some(Distribution::Normal { mean: 1.0, sd })).unwrap();
    let at = speeds(&[4000.0]);
    let model = BuildModel::full_load(&build, &at).unwrap();
    assert_eq!(model.inputs().len(), 4);
    assert!(model.inputs().iter().all(|i| i.spread == railrise::study::model::Spread::Part));
    assert!(model.why_general().is_none(), "{:?}", model.why_general());

    let runs = Plan::tolerance(&model).draws(16384).seed(3).run(&model).unwrap();
    let (mean, worst) = (
        runs.output("lambda over target").unwrap().to_vec(),
        runs.output("worst cylinder over target").unwrap().to_vec(),
    );
    // The weakest of four lies E = -1.02938 standard deviations from the mean of their law: expected values of normal order
    // statistics (Teichroew 1956; Harter 1961; the digits from memory).
    let weakest: f64 =
        mean.iter().zip(&worst).map(|(m, w)| 1.0 - (1.0 + m) / (1.0 + w)).sum::<f64>() / 16384.0;
    assert!((weakest / sd / 1.029_38 - 1.0).abs() < 0.01, "{}", weakest / sd);
    // The mean of four scatters half as much as one.
    let mu = mean.iter().sum::<f64>() / 16384.0;
    let scatter = (mean.iter().map(|m| (m - mu).powi(2)).sum::<f64>() / 16383.0).sqrt();
    assert!((scatter / (1.0 + mu) / (sd / 2.0) - 1.0).abs() < 0.03, "{scatter}");

    // One by one through the general solver: the same answers.
    let general = BuildModel::full_load(&build, &at).unwrap().through_the_general_solver();
    for x in [[1.0, 1.0, 1.0, 1.0], [0.98, 1.01, 1.03, 0.99]] {
        let mut y = [vec![0.0; model.outputs().len()], vec![0.0; model.outputs().len()]];
        model.worker().run(&x, &mut y[0]).unwrap();
        general.worker().run(&x, &mut y[1]).unwrap();
        for (a, b) in y[0].iter().zip(&y[1]) {
            assert!((a - b).abs() < 1e-7 * b.abs().max(1.0), "{a} {b}");
        }
    }
    let sum = model.build_at(&[0.98, 1.01, 1.03, 0.99]).unwrap();
    let of = |key: &str| sum.si(&format!("injectors.{key}")).unwrap();
    let nominal = build.si("injectors.flow_factor").unwrap();
    assert!((of("flow_factor") / nominal - 1.0025).abs() < 1e-12);
    assert!((of("cylinder_spread") - (1.0 - 0.98 / 1.0025)).abs() < 1e-12);

    // By grade the weakest has a spread of its own; drawn one by one it follows.
    let graded = BuildModel::full_load(&build, &at).unwrap().with_spreads_by_grade().unwrap();
    let named = |n: &str| graded.inputs().iter().any(|i| i.name == n);
    assert!(!named("injectors.cylinder_spread") && named("injectors.each_flow of injector 4"));
    build
        .set_spread("injectors.cylinder_spread", Some(Distribution::Uniform { low: 0.0, high: 0.02 }))
        .unwrap();
    let said = BuildModel::full_load(&build, &at).err().unwrap().to_string();
    assert!(said.contains("cylinder_spread") && said.contains("state one"), "{said}");
}
