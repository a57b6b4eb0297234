"""Fits the coefficients of src/fuel/pure.rs and src/part/air.rs and prints them with their residuals.

Outside sources: CoolProp (n-heptane: Span & Wagner 2003; ethanol: Schroeder et al. 2014; toluene: Lemmon & Span
2006; air: Lemmon et al. 2000) and, for iso-octane, which CoolProp does not have, the `thermo` package.
Run: python tests/outside/fit_fuel.py (packages pinned in tests/outside/requirements.txt).

Liquid, theta = T - 288.15 K, p0 = 101325 Pa:
  ln(rho0/rho15) = -(a1 theta + a2 theta^2 + a3 theta^3)      (form of API MPMS 11.1, three free terms)
  K0 = k0 exp(k1 theta + k2 theta^2),  K = K0 + K' (p - p0)    (Murnaghan 1944)
  rho = rho0 (1 + K' (p - p0)/K0)^(1/K')
  cp = c0 + c1 theta + c2 theta^2
  ln mu = A + B/(T - C) + (b0 + b1 theta) (p - p0)             (Vogel 1921, Barus 1893)
  ln pv = A - B/(T + C)                                        (Antoine 1888)
"""

import numpy as np
import CoolProp.CoolProp as CP
from scipy.optimize import curve_fit
from thermo import Chemical

P0, T15 = 101325.0, 288.15
T_ALL = np.arange(243.15, 363.2, 5.0)
P_ALL = np.array([1e4, 1.01325e5, 2e5, 4e5, 8e5, 2e6, 6e6, 1.2e7, 2.5e7])


def grid(fluid):
    """Liquid points; those of 0-60 degC and 1-8 bar weigh three times."""
    points = [
        (T, p) for T in T_ALL for p in P_ALL if p > 1.001 * CP.PropsSI("P", "T", T, "Q", 0, fluid)
    ]
    T, p = np.array(points).T
    core = (T > 273) & (T < 333.2) & (p > 1e5) & (p < 8.1e5)
    return T, p, np.where(core, 1.0, 3.0), core


def get(name, fluid, T, p):
    return np.array([CP.PropsSI(name, "T", t, "P", q, fluid) for t, q in zip(T, p)])


def ln_rho(X, r15, a1, a2, a3, k0, k1, k2, kp):
    T, p = X
    th = T - T15
    K0 = k0 * np.exp(k1 * th + k2 * th**2) * 1e9
    return np.log(r15) - (a1 * th + a2 * th**2 + a3 * th**3) + np.log1p(kp * (p - P0) / K0) / kp


def vogel(X, A, B, C, b0, b1):
    T, p = X
    return A + B / (T - C) + (b0 + b1 * (T - T15)) * 1e-9 * (p - P0)


def antoine(T, A, B, C):
    return A - B / (T + C)


def show(name, pars):
    print("  " + name + ": " + ", ".join(f"{v:.8e}" for v in pars))


def worst(label, model, truth, core):
    r = np.abs(model / truth - 1)
    print(f"    residual {label}: worst {r[core].max():.2e} (0-60 degC, 1-8 bar), {r.max():.2e} everywhere")


def liquid(fluid):
    print(fluid)
    T, p, w, core = grid(fluid)
    rho, mu, cp, c = (get(k, fluid, T, p) for k in "DVCA")
    kt = 1 / get("ISOTHERMAL_COMPRESSIBILITY", fluid, T, p)

    # The compressibility first, the density then with it held.
    def ln_kt(X, k0, k1, k2, kp):
        th = X[0] - T15
        return np.log(k0 * 1e9 * np.exp(k1 * th + k2 * th**2) + kp * (X[1] - P0))

    kpar, _ = curve_fit(ln_kt, (T, p), np.log(kt), [0.8, -7e-3, 0, 10], sigma=w)
    f = lambda X, r15, a1, a2, a3: ln_rho(X, r15, a1, a2, a3, *kpar)
    rpar, _ = curve_fit(f, (T, p), np.log(rho), [700, 1e-3, 1e-6, 0], sigma=w)
    show("rho15, a1, a2, a3", rpar)
    show("k0/GPa, k1, k2, K'", kpar)
    worst("density", np.exp(f((T, p), *rpar)), rho, core)
    worst("isothermal bulk modulus", np.exp(ln_kt((T, p), *kpar)), kt, core)

    th = T - T15
    cpar = np.polyfit(th, cp, 2, w=1 / w)[::-1]
    show("c0, c1, c2", cpar)
    cpm = np.polyval(cpar[::-1], th)
    worst("heat capacity", cpm, cp, core)
    K0 = kpar[0] * 1e9 * np.exp(kpar[1] * th + kpar[2] * th**2)
    dK0 = K0 * (kpar[1] + 2 * kpar[2] * th)
    dp = p - P0
    alpha = rpar[1] + 2 * rpar[2] * th + 3 * rpar[3] * th**2
    alpha = alpha + dp * dK0 / (K0**2 * (1 + kpar[3] * dp / K0))
    rm, km = np.exp(f((T, p), *rpar)), np.exp(ln_kt((T, p), *kpar))
    ks = 1 / (1 / km - T * alpha**2 / (rm * cpm))
    worst("isentropic bulk modulus", ks, rho * c**2, core)
    worst("speed of sound", np.sqrt(ks / rm), c, core)

    vpar, _ = curve_fit(vogel, (T, p), np.log(mu), [-10, 600, 50, 0.5, 0], sigma=w, maxfev=50000)
    show("A, B, C, b0 1/GPa, b1", vpar)
    worst("viscosity", np.exp(vogel((T, p), *vpar)), mu, core)
    saturation(lambda t: CP.PropsSI("P", "T", t, "Q", 0, fluid))


def saturation(law):
    ps = np.array([law(t) for t in T_ALL])
    core = (T_ALL > 273) & (T_ALL < 333.2)
    w = np.where(core, 1.0, 3.0)
    apar, _ = curve_fit(antoine, T_ALL, np.log(ps), [21, 3000, -50], sigma=w, maxfev=50000)
    show("Antoine A, B, C", apar)
    worst("vapour pressure", np.exp(antoine(T_ALL, *apar)), ps, core)


def iso_octane():
    """Compressibility is NOT from here: the generic compressed-liquid correlation of the package is 25 % soft."""
    print("iso-octane")
    cas, p = "540-84-1", 4e5
    chem = [Chemical(cas, T=t, P=p) for t in T_ALL]
    core = (T_ALL > 273) & (T_ALL < 333.2)
    w = np.where(core, 1.0, 3.0)
    rho = np.array([c.rhol for c in chem])
    f = lambda X, r15, a1, a2, a3: ln_rho(X, r15, a1, a2, a3, *ISO_OCTANE_K)
    X = (T_ALL, np.full_like(T_ALL, p))
    rpar, _ = curve_fit(f, X, np.log(rho), [700, 1e-3, 1e-6, 0], sigma=w)
    show("rho15, a1, a2, a3", rpar)
    worst("density", np.exp(f(X, *rpar)), rho, core)
    cp = np.array([Chemical(cas, T=t, P=P0).Cpl for t in T_ALL])
    cpar = np.polyfit(T_ALL - T15, cp, 2, w=1 / w)[::-1]
    show("c0, c1, c2", cpar)
    worst("heat capacity", np.polyval(cpar[::-1], T_ALL - T15), cp, core)
    mu = np.array([c.mul for c in chem])
    g = lambda T, A, B, C: A + B / (T - C)
    vpar, _ = curve_fit(g, T_ALL, np.log(mu), [-10, 600, 50], sigma=w, maxfev=50000)
    show("A, B, C", vpar)
    worst("viscosity", np.exp(g(T_ALL, *vpar)), mu, core)
    saturation(lambda t: Chemical(cas, T=t, P=P0).Psat)


# n-heptane's temperature slope and K', scaled to 0.645 GPa at 25 degC (isothermal compressibility 1.55 1/GPa, from
# memory of published measurements).
ISO_OCTANE_K = None


def heptane_k():
    T, p, w, _ = grid("n-Heptane")
    kt = 1 / get("ISOTHERMAL_COMPRESSIBILITY", "n-Heptane", T, p)

    def ln_kt(X, k0, k1, k2, kp):
        th = X[0] - T15
        return np.log(k0 * 1e9 * np.exp(k1 * th + k2 * th**2) + kp * (X[1] - P0))

    k, _ = curve_fit(ln_kt, (T, p), np.log(kt), [0.8, -7e-3, 0, 10], sigma=w)
    return np.array([0.645 / np.exp(k[1] * 10 + k[2] * 100), k[1], k[2], k[3]])


def activity():
    """Ethanol in petrol-like hydrocarbons: UNIFAC (Dortmund) of the package, fitted by van Laar's two constants."""
    from thermo.unifac import UNIFAC, DOUFIP2016, DOUFSG

    # Groups of the modified table: 1 CH3, 2 CH2, 3 CH, 4 C, 9 ACH, 11 ACCH3, 14 OH(p).
    fluids = [
        {1: 1, 2: 1, 14: 1},  # ethanol
        {1: 2, 2: 3},  # n-pentane
        {1: 2, 2: 5},  # n-heptane
        {1: 5, 2: 1, 3: 1, 4: 1},  # iso-octane
        {9: 5, 11: 1},  # toluene
    ]
    share = {"n-heptane alone": [0, 1, 0, 0], "petrol-like": [0.25, 0.2, 0.25, 0.3]}
    for name, h in share.items():
        for T in (283.15, 310.95, 333.15):
            xs, le, lh = np.linspace(0.005, 0.995, 100), [], []
            for x in xs:
                mix = [x] + [(1 - x) * v for v in h]
                ge = UNIFAC.from_subgroups(
                    T=T, xs=mix, chemgroups=fluids, version=1, interaction_data=DOUFIP2016, subgroups=DOUFSG
                )
                ln = np.log(ge.gammas())
                le.append(ln[0])
                lh.append(np.dot(h, ln[1:]))
            both = lambda x, A, B: np.concatenate(
                [A / (1 + A * x / (B * (1 - x))) ** 2, B / (1 + B * (1 - x) / (A * x)) ** 2]
            )
            par, _ = curve_fit(both, xs, np.concatenate([le, lh]), [2.5, 1.8])
            r = np.abs(both(xs, *par) - np.concatenate([le, lh])).max()
            print(f"ethanol in {name} at {T} K: van Laar A {par[0]:.4f}, B {par[1]:.4f}, worst {r:.3f} in ln gamma")


def air():
    """Dry air: rho = p/(R T (1 + B rho)), B(T) = B0 + B1/T + B2/T^3, ideal heat capacity quadratic in T."""
    print("air")
    T = np.arange(230.0, 501.0, 5.0)
    R = 8.314462618 / CP.PropsSI("M", "Air")
    low = 100.0
    cp0 = np.array([CP.PropsSI("C", "T", t, "P", low, "Air") for t in T])
    show("cp0 (T/300 - 1)^0..3", np.polyfit(T / 300 - 1, cp0, 3)[::-1])
    B = []
    for t in T:
        r = CP.PropsSI("D", "T", t, "P", 1e5, "Air")
        B.append((1e5 / (r * R * t) - 1) / r)
    M = np.stack([np.ones_like(T), 300 / T, (300 / T) ** 3], 1)
    b, *_ = np.linalg.lstsq(M, np.array(B), rcond=None)
    show("B0, B1, B3 (300/T) in m3/kg", b)
    print("  R", R, "max B residual", np.abs(M @ b - B).max())


if __name__ == "__main__":
    ISO_OCTANE_K = heptane_k()
    for fluid in ("n-Heptane", "Ethanol", "Toluene"):
        liquid(fluid)
    show("iso-octane k0/GPa, k1, k2, K'", ISO_OCTANE_K)
    iso_octane()
    activity()
    air()
