"""Solves the networks of tests/epanet_networks.rs with EPANET 2.2 (the library that comes with `wntr`) and compares.

  RAILRISE_NETWORKS=networks.json cargo test --release --no-default-features --test tests epanet_agrees
  python tests/outside/epanet_check.py networks.json            # compares: flows 0.1 %, pressures 100 Pa
  python tests/outside/epanet_check.py networks.json --record   # writes tests/outside/epanet_networks.json

Lines are pipes with Darcy-Weisbach friction and a minor loss; an orifice is a throttle control valve of its bore with
K = 1/cd^2; a pump is a curve of many points taken from the pump's law; junctions of given pressure are reservoirs
whose head is their pressure over the ambient. Check valves without loss are left out: a pump is one-way in EPANET.
Needs no network. Packages pinned in tests/outside/requirements.txt.
"""

import json
import math
import sys
import tempfile
from pathlib import Path

import wntr
import wntr.epanet.toolkit as toolkit

G = 9.80665
# EPANET works in feet with g = 32.2 ft/s2: heads are scaled so that pressures come out in our g.
G_EPANET = 32.2 * 0.3048
WATER = 1.1e-5 * 0.3048**2  # its unit of kinematic viscosity, m2/s


def solve(net):
    rho, nu = net["density"], net["viscosity"] / net["density"]
    # A pressure loss of rho u^2/2 is a head of u^2/(2 g_epanet) there, so pressure = rho g_epanet head throughout.
    head = lambda pa: pa / (rho * G_EPANET)
    given = {j: p for j, p in net["pressures"].items() if j in ("tank", "air", "manifold")}
    names = {j: f"N{i}" for i, j in enumerate(net["pressures"])}
    junctions, reservoirs, pipes, valves, pumps, curves = [], [], [], [], [], []
    for j in net["pressures"]:
        if j in given:
            reservoirs.append(f"{names[j]} {head(given[j] - net['ambient']):.12g}")
        else:
            junctions.append(f"{names[j]} 0 0")
    first = {}
    lift_of = {}
    for a, leg in enumerate(net["legs"]):
        parts = [p for p in leg["parts"] if p["kind"] != "valve"]
        at = names[leg["from"]]
        for b, part in enumerate(parts):
            last = b == len(parts) - 1
            to = names[leg["to"]] if last else f"L{a}M{b}"
            if not last:
                junctions.append(f"{to} 0 0")
            link = f"L{a}P{b}"
            first.setdefault(leg["name"], link)
            if part["kind"] == "line":
                pipes.append(
                    f"{link} {at} {to} {part['length']:.12g} {1e3 * part['bore']:.12g} "
                    f"{1e3 * part['roughness']:.12g} {part['k']:.12g} OPEN"
                )
                # A rise inside a leg is a static head; EPANET knows only total heads, so it is booked on the pressure.
                lift_of[a] = lift_of.get(a, 0.0) + part["rise"]
            elif part["kind"] == "orifice":
                valves.append(f"{link} {at} {to} {1e3 * part['bore']:.12g} TCV {part['cd'] ** -2:.12g} 0")
            elif part["kind"] == "pump":
                pumps.append(f"{link} {at} {to} HEAD C{a}")
                for q, rise in part["curve"]:
                    # The rise of the leg's lines is taken off its pump.
                    total = sum(p.get("rise", 0.0) for p in leg["parts"])
                    curves.append(f"C{a} {1e3 * q:.12g} {head(rise - rho * G * total):.12g}")
            at = to
        if not any(p["kind"] == "pump" for p in parts) and lift_of.get(a):
            # Without a pump in the leg, the end reservoir's head is raised instead.
            end = names[leg["to"]]
            reservoirs[:] = [
                f"{n} {float(h) + head(rho * G * lift_of[a]):.12g}" if n == end else f"{n} {h}"
                for n, h in (r.split() for r in reservoirs)
            ]
    text = "\n".join(
        ["[JUNCTIONS]", *junctions, "[RESERVOIRS]", *reservoirs, "[PIPES]", *pipes, "[VALVES]", *valves]
        + ["[PUMPS]", *pumps, "[CURVES]", *curves]
        + ["[OPTIONS]", "UNITS LPS", "HEADLOSS D-W", f"VISCOSITY {nu / WATER:.12g}", "ACCURACY 1e-8", "TRIALS 500"]
        + ["[TIMES]", "DURATION 0", "[END]", ""]
    )
    with tempfile.TemporaryDirectory() as folder:
        inp = Path(folder) / "network.inp"
        inp.write_text(text)
        en = toolkit.ENepanet(version=2.2)
        en.ENopen(str(inp), str(Path(folder) / "report.txt"), str(Path(folder) / "out.bin"))
        en.ENopenH()
        en.ENinitH(0)
        en.ENrunH()
        flow = lambda link: en.ENgetlinkvalue(en.ENgetlinkindex(link), 8) / 1e3
        pressure = lambda node: en.ENgetnodevalue(en.ENgetnodeindex(node), 10) * rho * G_EPANET + net["ambient"]
        out = {
            "flows": {name: flow(link) for name, link in first.items()},
            "pressures": {j: pressure(n) if j not in given else given[j] for j, n in names.items()},
        }
        en.ENcloseH()
        en.ENclose()
    return out


def main():
    networks = json.loads(Path(sys.argv[1]).read_text())
    theirs = {n["name"]: solve(n) for n in networks}
    bad = 0
    for n in networks:
        them = theirs[n["name"]]
        flows = [abs(l["flow"] / them["flows"][l["name"]] - 1) for l in n["legs"]]
        pressures = [abs(p - them["pressures"][j]) for j, p in n["pressures"].items()]
        print(f"{n['name']}: flows within {100 * max(flows):.4f} %, pressures within {max(pressures):.1f} Pa")
        bad += max(flows) > 1e-3 or max(pressures) > 100 or any(map(math.isnan, flows + pressures))
    if "--record" in sys.argv:
        out = Path(__file__).parent / "epanet_networks.json"
        source = f"EPANET 2.2 through wntr {wntr.__version__}, tests/outside/epanet_check.py"
        out.write_text(json.dumps({"source": source, "networks": theirs}, indent=1) + "\n")
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
