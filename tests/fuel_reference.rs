//! Fuel laws against the reference rows, and the laws that must hold for any blend.

use crate::support::rows::{Answer, Row, hold, rows};
use proptest::prelude::*;
use railrise::fuel::{Blend, Component, Composition, FuelError, combustion, mass_fractions, petrol};
use railrise::quantity::*;

/// Petrol as the rows take it: 745 kg/m³ at 15 °C; the DVPE plays no part in those rows.
fn petrol_745() -> Component {
    Component::petrol(kg_per_m3(745.0), abs(kpa(60.0))).expect("within EN 228")
}

fn named(name: &str) -> Option<Component> {
    Some(match name {
        "hept" | "n-heptane" => Component::NHeptane,
        "isooct" | "iso-octane" | "isooctane" => Component::IsoOctane,
        "etoh" | "ethanol" => Component::Ethanol,
        "gasoline" => petrol_745(),
        _ => return None,
    })
}

/// The component of `1.rho.hept_0C_4bar`.
fn fluid(row: &Row) -> Blend {
    let word = row.part(2).split('_').next().unwrap_or_default();
    Blend::pure(named(word).unwrap_or_else(|| panic!("{}: no fluid {word}", row.id)))
}

fn at(row: &Row) -> railrise::fuel::State {
    fluid(row).at_si(row.input("T"), row.input("p")).unwrap_or_else(|e| panic!("{}: {e}", row.id))
}

fn answer(row: &Row) -> Answer {
    match row.kind() {
        "rho" => Answer::one(at(row).density),
        "mu" => Answer::one(at(row).viscosity),
        "c" => Answer::one(at(row).sound_speed),
        "Ks" => Answer::one(at(row).bulk_isentropic),
        "KT" => Answer::one(at(row).bulk_isothermal),
        "psat" => {
            Answer::one(fluid(row).vapour_pressure(kelvin(row.input("T"))).expect("in range").pascals())
        }
        "en228" => en228(row),
        "vcf54b" => {
            let rho = petrol::volume_correction(kg_per_m3(row.input("rho15")), degc(row.input("t_C")));
            Answer::one(rho.expect("in range").value)
        }
        "api1121m" => {
            let k = petrol::bulk_isothermal_api(kg_per_m3(row.input("rho15")), degc(row.input("t_C")));
            Answer::one(k.expect("in range").value)
        }
        "Mair" => Answer::one(combustion::molar_mass_of_dry_air()),
        "afr" => air_fuel_ratio(row),
        "w" => {
            let phi = row.input("phi_etoh");
            let rho = [kg_per_m3(row.input("rho_etoh")), kg_per_m3(row.input("rho_petrol"))];
            Answer::one(mass_fractions(&[phi, 1.0 - phi], &rho).expect("two of each")[0])
        }
        "lhv" if row.part(2) == "heywood" => {
            Answer::one(named(row.part(3)).expect("a fuel of ours").lower_heating_value().value)
        }
        "lhv" => Answer::one(named(row.part(2)).expect("a fuel of ours").lower_heating_value().value),
        "lhvg" => {
            let fuel = named(row.part(2)).expect("a fuel of ours");
            Answer::one(fuel.composition().lower_heating_value(row.input("Hfg")).value)
        }
        "hfg" => Answer::one(named(row.part(2)).expect("a fuel of ours").latent_heat().value),
        other => panic!("{}: no law answers `{other}`", row.id),
    }
}

/// EN 228 bands: petrol at either end is taken, and shows the number it was described by.
fn en228(row: &Row) -> Answer {
    let band = row.numbers();
    let shown: Result<Vec<f64>, FuelError> = band
        .iter()
        .map(|&v| match row.part(2) {
            "rho15" => {
                let b = Blend::petrol(kg_per_m3(v), abs(kpa(60.0)));
                Ok(b.density(degc(15.0), atm())?.value)
            }
            _ => Ok(Blend::petrol(kg_per_m3(745.0), abs(pa(v)))
                .vapour_pressure(kelvin(row.input("T")))?
                .pascals()),
        })
        .collect();
    match shown {
        Ok(v) => Answer::judge(
            v.iter().zip(&band).all(|(a, b)| (a - b).abs() <= 1e-9 * b),
            format!("{v:?} for {band:?}"),
        ),
        Err(e) => Answer::Judged(Err(e.to_string())),
    }
}

fn air_fuel_ratio(row: &Row) -> Answer {
    let name = row.part(2);
    if name == "heywood" {
        return Answer::one(named(row.part(3)).expect("a fuel of ours").stoichiometric_afr());
    }
    if name.ends_with("vol") {
        let phi = row.input("phi_etoh");
        let shares = [(Component::Ethanol, phi), (petrol_745(), 1.0 - phi)];
        return Answer::one(Blend::from_volume(&shares).expect("adds up").stoichiometric_afr());
    }
    let molecule = Composition { carbon: row.input("C"), hydrogen: row.input("H"), oxygen: row.input("O") };
    if let Some(ours) = named(name) {
        assert_eq!(ours.composition(), molecule, "{}", row.id);
    }
    Answer::one(molecule.stoichiometric_afr())
}

#[test]
fn every_row_of_the_fuel_file() {
    let n = hold("01_fuel", rows("01_fuel"), &[], answer);
    assert!(n >= 202, "rows have gone missing: {n}");
}

/// 0.718 and 0.907 GPa for n-heptane near 20 °C: the two moduli differ by a quarter (physics notes of an
/// independent model; CoolProp gives 0.7181 and 0.9072 at 20 °C and 4 bar).
#[test]
fn the_two_bulk_moduli_of_n_heptane_differ_by_a_quarter() {
    let s = Blend::pure(Component::NHeptane).at(degc(20.0), abs(bar(4.0))).unwrap();
    assert!((s.bulk_isothermal / 0.718e9 - 1.0).abs() < 0.01, "{:e}", s.bulk_isothermal);
    assert!((s.bulk_isentropic / 0.907e9 - 1.0).abs() < 0.01, "{:e}", s.bulk_isentropic);
}

/// What a little ethanol does to the vapour pressure: up by 5 to 9 kPa at ten per cent, and well below the petrol's at
/// 85 % (published blends of a 60 kPa petrol: about +7 kPa, and 35 to 42 kPa; from memory).
#[test]
fn a_little_ethanol_lifts_the_vapour_pressure_and_much_lowers_it() {
    let dvpe = |share: f64| {
        Blend::from_volume(&[(Component::Ethanol, share), (petrol_745(), 1.0 - share)])
            .unwrap()
            .dvpe()
            .unwrap()
            .pascals()
    };
    assert!((5e3..9e3).contains(&(dvpe(0.10) - 60e3)), "E10 {}", dvpe(0.10));
    assert!((35e3..42e3).contains(&dvpe(0.85)), "E85 {}", dvpe(0.85));
}

/// Pump petrol is 0.4 to 0.8 mm²/s at 20 °C (common practice, no source) and carries sound at about 1250 m/s (general
/// tables, from memory): the surrogate is inside 5 % of it over the densities of EN 228.
#[test]
fn petrol_has_the_viscosity_and_the_speed_of_sound_of_petrol() {
    for density in [720.0, 745.0, 775.0] {
        let s = Blend::petrol(kg_per_m3(density), abs(kpa(60.0))).at(degc(20.0), abs(bar(1.0))).unwrap();
        assert!((0.4e-6..0.8e-6).contains(&s.kinematic_viscosity()), "{density}: {s:?}");
        if density == 745.0 {
            assert!((s.sound_speed / 1250.0 - 1.0).abs() < 0.05, "{density}: {s:?}");
        }
        assert!(s.is_liquid());
    }
}

/// How steeply petrol's vapour pressure falls in the cold. True vapour pressures of a gasoline of 10 psi: 3.4, 5.2, 7.4
/// and 10.5 psi at 40, 60, 80 and 100 °F (US EPA AP-42, table 7.1-2, from memory; printed to 0.1 psi, hence 3 %).
#[test]
fn petrol_boils_off_over_temperature_as_the_published_table_says() {
    let dvpe = abs(psi(10.0));
    let at = |f: f64| petrol::vapour_pressure(dvpe, degc((f - 32.0) / 1.8)).unwrap().pascals();
    for (f, published) in [(40.0, 3.4), (60.0, 5.2), (80.0, 7.4)] {
        let ratio = at(f) / at(100.0);
        assert!((ratio / (published / 10.5) - 1.0).abs() < 0.03, "{f} °F: {ratio}");
    }
    // The equivalent is lower than the true pressure: by the 5 % that the documentation states.
    let below = at(100.0) / psi(10.5).value;
    assert!((0.93..0.97).contains(&below), "{below}");
}

/// The laws of petrol asked one by one are those of the state.
#[test]
fn the_laws_of_petrol_are_those_of_its_state() {
    let (rho, dvpe, t, p) = (kg_per_m3(752.0), abs(kpa(70.0)), degc(42.0), abs(bar(5.2)));
    let s = Blend::petrol(rho, dvpe).at(t, p).unwrap();
    assert_eq!(s.viscosity, petrol::viscosity(rho, t, p).unwrap().value);
    assert_eq!(s.vapour_pressure, petrol::vapour_pressure(dvpe, t).unwrap().pascals());
    assert_eq!(s.heat_capacity, petrol::heat_capacity(rho, t).unwrap().value);
    let at_one = Blend::petrol(rho, dvpe).at(t, atm()).unwrap();
    assert_eq!(at_one.density, petrol::volume_correction(rho, t).unwrap().value);
    assert_eq!(at_one.bulk_isothermal, petrol::bulk_isothermal_api(rho, t).unwrap().value);
}

#[test]
fn a_blend_that_is_not_a_litre_is_refused_by_name() {
    let short = Blend::from_volume(&[(Component::Ethanol, 0.85)]).unwrap_err();
    assert_eq!(short, FuelError::FractionSum { sum: 0.85 });
    let negative = Blend::from_volume(&[(Component::Ethanol, -0.1), (petrol_745(), 1.1)]).unwrap_err();
    assert!(negative.to_string().contains("ethanol"), "{negative}");
    assert!(Blend::from_volume(&[]).is_err());
    let no_number = Blend::from_volume(&[(Component::Ethanol, f64::NAN), (petrol_745(), 0.5)]);
    assert!(no_number.is_err());
}

#[test]
fn outside_the_range_is_an_error_that_names_value_and_range() {
    let b = Blend::pure(petrol_745());
    let hot = b.at(degc(120.0), abs(bar(4.0))).unwrap_err().to_string();
    assert!(hot.contains("120.0 °C") && hot.contains("90 °C"), "{hot}");
    let none = b.at(degc(20.0), abs(pa(0.0))).unwrap_err().to_string();
    assert!(none.contains("0.000 bar"), "{none}");
    let heavy = Blend::petrol(kg_per_m3(0.745), abs(kpa(60.0))).at(degc(20.0), atm()).unwrap_err();
    assert_eq!(heavy, FuelError::PetrolDensity { density15: 0.745, low: 680.0, high: 787.5 });
    let flat = Component::petrol(kg_per_m3(745.0), abs(pa(60.0))).unwrap_err().to_string();
    assert!(flat.contains("30 to 110 kPa"), "{flat}");
    assert!(b.at(kelvin(f64::NAN), atm()).is_err());
}

/// Hot petrol on a thin suction boils: the state says so instead of passing for a liquid.
#[test]
fn a_state_below_its_vapour_pressure_says_so() {
    let b = Blend::petrol(kg_per_m3(745.0), abs(kpa(90.0)));
    assert!(!b.at(degc(58.0), abs(kpa(80.0))).unwrap().is_liquid());
    assert!(b.at(degc(20.0), abs(kpa(80.0))).unwrap().is_liquid());
}

/// The derivatives that the state carries are those of its own density.
#[test]
fn expansion_and_compression_are_the_slopes_of_the_density() {
    let e40 = Blend::from_volume(&[(Component::Ethanol, 0.4), (petrol_745(), 0.6)]).unwrap();
    for b in [e40, Blend::pure(Component::Ethanol), Blend::pure(petrol_745())] {
        for (t, p) in [(283.15, 2e5), (323.15, 5e5), (300.0, 1e7)] {
            let rho = |t, p| b.at_si(t, p).unwrap().density;
            let s = b.at_si(t, p).unwrap();
            // Central differences: steps of 0.01 K and 1 kPa leave 1e-8 of truncation and 1e-6 of round-off.
            let alpha = -(rho(t + 0.01, p) - rho(t - 0.01, p)) / 0.02 / s.density;
            let k = s.density * 2e4 / (rho(t, p + 1e4) - rho(t, p - 1e4));
            assert!((alpha / s.expansivity - 1.0).abs() < 1e-6, "{b}: {alpha} {}", s.expansivity);
            assert!((k / s.bulk_isothermal - 1.0).abs() < 1e-5, "{b}: {k} {}", s.bulk_isothermal);
        }
    }
}

/// Fuels of every kind that the room knows.
fn any_fuel() -> impl Strategy<Value = Blend> {
    let petrol = (700.0..780.0f64, 40e3..100e3f64)
        .prop_map(|(rho, v)| Component::petrol(kg_per_m3(rho), abs(pa(v))).unwrap());
    (petrol, prop::array::uniform4(0.0..1.0f64)).prop_filter_map("an empty litre", |(petrol, share)| {
        let sum: f64 = share.iter().sum();
        let parts = [petrol, Component::Ethanol, Component::NHeptane, Component::IsoOctane];
        let shares: Vec<_> = parts.into_iter().zip(share).map(|(c, v)| (c, v / sum)).collect();
        (sum > 1e-3).then(|| Blend::from_volume(&shares).unwrap())
    })
}

proptest! {
    #[test]
    fn density_falls_when_heated_and_rises_when_pressed(
        b in any_fuel(), t in 244.0..361.0f64, p in 1e4..2e7f64, dt in 0.1..2.0f64, dp in 1e3..4e6f64,
    ) {
        let s = b.at_si(t, p).unwrap();
        prop_assert!(b.at_si(t + dt, p).unwrap().density < s.density);
        prop_assert!(b.at_si(t, p + dp).unwrap().density > s.density);
        prop_assert!(b.at_si(t + dt, p).unwrap().viscosity < s.viscosity);
        prop_assert!(b.at_si(t + dt, p).unwrap().vapour_pressure > s.vapour_pressure);
        prop_assert!(b.at_si(t, p + dp).unwrap().bulk_isothermal > s.bulk_isothermal);
    }

    #[test]
    fn isentropic_is_stiffer_than_isothermal(b in any_fuel(), t in 244.0..363.0f64, p in 1e4..2e7f64) {
        let s = b.at_si(t, p).unwrap();
        prop_assert!(s.bulk_isentropic > s.bulk_isothermal);
        // Liquids of this kind: the ratio of heat capacities stays below 1.5.
        prop_assert!(s.bulk_isentropic < 1.5 * s.bulk_isothermal, "{}", s.bulk_isentropic / s.bulk_isothermal);
        prop_assert!((s.sound_speed.powi(2) * s.density / s.bulk_isentropic - 1.0).abs() < 1e-12);
    }

    /// Density, viscosity, the moduli, air-fuel ratio and heating value of a blend lie between those of its parts.
    /// Vapour pressure does not: ethanol and hydrocarbons make a maximum (their azeotrope), so it is left out
    /// here and held to be at least that of ideal mixing.
    #[test]
    fn a_blend_lies_between_its_parts(b in any_fuel(), t in 244.0..363.0f64, p in 1e4..2e7f64) {
        let s = b.at_si(t, p).unwrap();
        let parts: Vec<_> = b.parts().iter().map(|q| Blend::pure(q.component)).collect();
        let states: Vec<_> = parts.iter().map(|q| q.at_si(t, p).unwrap()).collect();
        let within = |name: &str, value: f64, of: &dyn Fn(usize) -> f64| {
            let all: Vec<f64> = (0..parts.len()).map(of).collect();
            let low = all.iter().copied().fold(f64::INFINITY, f64::min) * (1.0 - 1e-12);
            let high = all.iter().copied().fold(0.0, f64::max) * (1.0 + 1e-12);
            assert!((low..=high).contains(&value), "{name} {value} outside {low} to {high} of {b}");
        };
        within("density", s.density, &|i| states[i].density);
        within("viscosity", s.viscosity, &|i| states[i].viscosity);
        within("isothermal modulus", s.bulk_isothermal, &|i| states[i].bulk_isothermal);
        within("heat capacity", s.heat_capacity, &|i| states[i].heat_capacity);
        within("air-fuel ratio", b.stoichiometric_afr(), &|i| parts[i].stoichiometric_afr());
        within("heating value", b.lower_heating_value().value, &|i| parts[i].lower_heating_value().value);
        let ideal: f64 = b.parts().iter().zip(&states).map(|(q, s)| q.by_mole * s.vapour_pressure).sum();
        prop_assert!(s.vapour_pressure >= ideal * (1.0 - 1e-12));
    }

    /// The air that a blend needs, counted in atoms of its mean molecule, is that counted by mass. Petrol's
    /// ratio is of the same CH₁.₈₇ both ways, so the two agree to round-off.
    #[test]
    fn air_demand_counted_in_atoms_is_that_counted_by_mass(b in any_fuel()) {
        let atoms = b.composition().stoichiometric_afr();
        prop_assert!((atoms / b.stoichiometric_afr() - 1.0).abs() < 1e-12);
        let sums = b.parts().iter().fold([0.0; 3], |s, q| [s[0] + q.by_volume, s[1] + q.by_mass, s[2] + q.by_mole]);
        prop_assert!(sums.iter().all(|s| (s - 1.0).abs() < 1e-12));
    }

    #[test]
    fn the_air_fuel_ratio_of_an_ethanol_blend_is_between_its_parts(share in 0.01..0.99f64, rho in 720.0..775.0f64) {
        let petrol = Component::petrol(kg_per_m3(rho), abs(kpa(60.0))).unwrap();
        let b = Blend::from_volume(&[(Component::Ethanol, share), (petrol, 1.0 - share)]).unwrap();
        let afr = b.stoichiometric_afr();
        prop_assert!(Component::Ethanol.stoichiometric_afr() < afr && afr < petrol.stoichiometric_afr());
        // Energy in a kilogram of stoichiometric mixture barely moves: within 5 % of petrol's (2.8 MJ/kg).
        let per_air = b.lower_heating_value().value / (1.0 + afr);
        let of_petrol = petrol.lower_heating_value().value / (1.0 + petrol.stoichiometric_afr());
        prop_assert!((per_air / of_petrol - 1.0).abs() < 0.06, "{per_air}");
    }

    #[test]
    fn the_order_of_the_components_does_not_matter(b in any_fuel(), t in 244.0..363.0f64) {
        let mut shares: Vec<_> = b.parts().iter().map(|q| (q.component, q.by_volume)).collect();
        shares.reverse();
        let other = Blend::from_volume(&shares).unwrap();
        let (s, o) = (b.at_si(t, 4e5).unwrap(), other.at_si(t, 4e5).unwrap());
        prop_assert!((s.density / o.density - 1.0).abs() < 1e-12);
        prop_assert!((s.vapour_pressure / o.vapour_pressure - 1.0).abs() < 1e-10);
    }
}

/// Our values on a grid, for `tests/outside/fuel_coolprop.py`: written to the file that `RAILRISE_FUEL_GRID` names.
/// Every point of the range has to answer, whether or not it is written.
#[test]
fn the_grid_that_the_outside_check_reads() {
    let core = (0..=12).flat_map(|i| (1..=8).map(move |j| (273.15 + 5.0 * f64::from(i), 1e5 * f64::from(j))));
    let wide =
        (0..=24).flat_map(|i| [1e4, 1e5, 1e6, 1e7, 2.5e7].map(move |p| (243.15 + 5.0 * f64::from(i), p)));
    let grid: Vec<(f64, f64)> = core.chain(wide).collect();
    let fluids = [Component::NHeptane, Component::Ethanol, Component::IsoOctane];
    let mut points = Vec::new();
    for fluid in fluids {
        let fuel = Blend::pure(fluid);
        for &(t, p) in &grid {
            let s = fuel.at_si(t, p).unwrap_or_else(|e| panic!("{fluid} at {t} K, {p} Pa: {e}"));
            points.push(serde_json::json!({
                "fluid": fluid.to_string(), "T": t, "p": p, "liquid": s.is_liquid(),
                "density": s.density, "viscosity": s.viscosity, "sound_speed": s.sound_speed,
                "bulk_isentropic": s.bulk_isentropic, "bulk_isothermal": s.bulk_isothermal,
                "heat_capacity": s.heat_capacity, "vapour_pressure": s.vapour_pressure,
            }));
        }
    }
    assert_eq!(points.len(), 3 * (13 * 8 + 25 * 5));
    if let Ok(path) = std::env::var("RAILRISE_FUEL_GRID") {
        let text = serde_json::to_string(&points).expect("plain numbers");
        std::fs::write(&path, text).unwrap_or_else(|e| panic!("{path}: {e}"));
    }
}
