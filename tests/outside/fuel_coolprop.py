"""Holds our fuel properties against CoolProp (n-heptane, ethanol) and thermo (iso-octane).

First let the tests write our values, then compare:
  RAILRISE_FUEL_GRID=fuel_grid.json cargo test --release --no-default-features --test tests the_grid_that_the_outside
  python tests/outside/fuel_coolprop.py fuel_grid.json
Leaves with 1 when a value is outside the stated tolerance. Core: 0-60 degC, 1-8 bar. Wide: -30-90 degC, 0.1-250 bar,
liquid only. Iso-octane's moduli are not compared: the package's compressed-liquid correlation is not good enough
(see src/fuel/pure.rs), and its viscosity and density are compared at 4 bar, where its default correlations hold.
"""

import json
import sys

import CoolProp.CoolProp as CP
from thermo import Chemical

# property: (CoolProp key, relative tolerance core, wide): up to twice the residuals that src/fuel/pure.rs states.
LAWS = {
    "density": ("D", 1e-4, 5e-4),
    "viscosity": ("V", 0.005, 0.02),
    "sound_speed": ("A", 0.002, 0.015),
    "bulk_isentropic": (None, 0.004, 0.025),
    "bulk_isothermal": (None, 0.005, 0.025),
    "heat_capacity": ("C", 0.005, 0.03),
    "vapour_pressure": (None, 0.003, 0.01),
}
COOLPROP = {"n-heptane": "n-Heptane", "ethanol": "Ethanol"}
ISO_OCTANE = {"density": 1e-4, "viscosity": 0.01, "vapour_pressure": 0.003}


def outside(law, T, p, fluid):
    key = LAWS[law][0]
    if key:
        return CP.PropsSI(key, "T", T, "P", p, fluid)
    if law == "bulk_isentropic":
        return CP.PropsSI("D", "T", T, "P", p, fluid) * CP.PropsSI("A", "T", T, "P", p, fluid) ** 2
    if law == "bulk_isothermal":
        return 1 / CP.PropsSI("ISOTHERMAL_COMPRESSIBILITY", "T", T, "P", p, fluid)
    return CP.PropsSI("P", "T", T, "Q", 0, fluid)


def thermo_value(law, T):
    c = Chemical("540-84-1", T=T, P=4e5)
    return {"density": c.rhol, "viscosity": c.mul, "vapour_pressure": c.Psat}[law]


def main(path):
    with open(path) as f:
        points = json.load(f)
    worst, compared, bad = {}, 0, []
    for q in points:
        T, p, fluid = q["T"], q["p"], q["fluid"]
        core = 273 < T < 333.2 and 0.99e5 < p < 8.01e5
        if fluid in COOLPROP:
            # On the boiling line itself the phase is a matter of round-off.
            if p < 1.001 * CP.PropsSI("P", "T", T, "Q", 0, COOLPROP[fluid]):
                continue
            checks = [(law, outside(law, T, p, COOLPROP[fluid]), tol[1 if core else 2]) for law, tol in LAWS.items()]
        elif core and p == 4e5:
            checks = [(law, thermo_value(law, T), tol) for law, tol in ISO_OCTANE.items()]
        else:
            continue
        for law, truth, tol in checks:
            off = abs(q[law] / truth - 1)
            compared += 1
            key = (fluid, law, "core" if core else "wide")
            worst[key] = max(worst.get(key, 0), off)
            if off > tol:
                bad.append(f"{fluid} {law} at {T} K, {p} Pa: ours {q[law]:.6g}, outside {truth:.6g}, off {off:.2e} > {tol}")
    for key in sorted(worst):
        print(f"{key[0]:12} {key[1]:18} {key[2]}: worst {worst[key]:.2e}")
    print(f"{compared} values compared with CoolProp {CP.get_global_param_string('version')} and thermo, {len(bad)} outside")
    print("\n".join(bad))
    return 1 if bad or compared < 1000 else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
