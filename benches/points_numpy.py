"""Steady operating points of the common fuel circuit by Newton's method, vectorised over draws with numpy.

The same equations as the library's fast form: one displacement pump on its wire with vapour derating and internal relief,
strainer, check valve, hoses with Churchill friction, filter, by-pass regulator with return hose, pulsed injectors. It
reads a task as JSON from stdin (values, draws, points, the general solver's rail pressures) and writes time and error.

The state of the fuel comes with the task. Written for speed: one array operation each, warm-started along the speeds,
blocks that stay in the cache, settled by the same measure as the library.
"""

import json
import sys
import time

import numpy as np

GAS, GAMMA, GRAVITY = 287.05287, 1.4, 9.80665
CLOSED, SMALL = 1e16, 0.1


def friction(re, rough):
    """Churchill's f Re and Re d(f Re)/dRe (S. W. Churchill, Chem. Eng. 84 (1977) 91)."""
    re = np.maximum(re, 100.0)
    viscous = (7.0 / re) ** 0.9
    inside = viscous + 0.27 * rough
    theta = -2.457 * np.log(inside)
    a = theta * theta
    a *= a
    a *= a
    a *= a
    b = 37530.0 / re
    b *= b
    b *= b
    b *= b
    b *= b
    s = a + b
    e = re / 8.0
    e4 = e * e
    e4 *= e4
    g = e4 * e4 * e4 / (s * np.sqrt(s))
    re_da = 16.0 * a / theta * (2.457 * 0.9 * viscous / inside)
    re_dg = g * (12.0 - 1.5 * (re_da - 16.0 * b) / s)
    phi = 64.0 * (1.0 + g) ** (1.0 / 12.0)
    return phi, phi / 12.0 * re_dg / (1.0 + g)


class Line:
    def __init__(self, v, name, rho, mu):
        bore = v[name + ".bore"]
        area = np.pi / 4 * bore * bore
        self.visc = mu * v[name + ".length"] / (2 * bore * bore * area)
        self.re = rho * bore / (area * mu)
        self.rough = v[name + ".roughness"] / bore
        self.quad = 0.5 * v[name + ".fittings"] * rho / (area * area)
        self.head = rho * GRAVITY * v[name + ".rise"]

    def drop(self, q):
        aq = np.abs(q)
        phi, rise = friction(self.re * aq, self.rough)
        kq = self.quad * aq
        return self.head + (self.visc * phi + kq) * q, self.visc * (phi + rise) + 2 * kq


def filter_of(v, name, rho, mu, blocked=0.0):
    t, loss, q = v[name + ".turbulent_part"], v[name + ".loss"], v[name + ".at_flow"]
    free = 1.0 - blocked
    lin = (1 - t) * loss / (0.55e-3 * q) / free * (1 + v[name + ".dirt"]) * mu
    quad = t * loss / (740.0 * q * q) / (free * free) * rho
    return lin, quad


class Cars:
    def __init__(self, v, fuel, pump, dead):
        self.v = v
        self.rho, self.mu, self.vapour, self.afr = fuel
        rho, mu = self.rho, self.mu
        self.ambient = v["ambient.pressure"]
        self.sl, self.sq = filter_of(v, "strainer", rho, mu, v["strainer.blocked"])
        self.head = rho * GRAVITY * v["strainer.head"]
        self.fl, self.fq = filter_of(v, "fine filter", rho, mu)
        self.feed, self.back = Line(v, "feed hose", rho, mu), Line(v, "return hose", rho, mu)
        d = v["check valve.bore"]
        self.valve = np.sqrt(0.5 * rho) / (v["check valve.cd"] * np.pi * d * d / 4)
        self.crack, self.shut = v["check valve.cracking"], np.minimum(v["check valve.leak"], CLOSED)
        p, f = "main pump.", v["main pump.flow_factor"]
        copper = 1.7241e-8 * (1 + 0.00393 * (v[p + "wire_temperature"] - 293.15)) / v[p + "wire_area"]
        r = copper * (v[p + "feed_length"] + v[p + "return_length"])
        r = r + v[p + "feed_contacts"] + v[p + "return_contacts"] + pump["armature"]
        self.g, self.r, self.idle = pump["g"] * f, r, pump["idle"]
        slip = v[p + "wear"] * pump["flow"] / max(pump["pressure"], 0.5e5)
        self.stiff = self.g * pump["c"] * f * r + pump["k"] * f * pump["viscosity"] / mu + slip
        self.relief, self.rs = v[p + "relief"], v[p + "relief_slope"]
        self.required = v[p + "required_margin"]
        r = "regulator."
        d, s = v[r + "diaphragm"], v[r + "seat"]
        self.area, self.seat = np.pi * d * d / 4, np.pi * s * s / 4
        self.net, self.curtain = self.area - self.seat, np.pi * s
        self.rate, self.force = v[r + "spring_rate"], v[r + "flow_force"]
        self.top, self.cd = v[r + "max_lift"], v[r + "cd"]
        base, flow = v[r + "base"], v[r + "setting_flow"]
        lift = np.minimum(flow / (self.cd * np.sqrt(2 * base / rho)) / self.curtain, self.top)
        opening = np.minimum(self.curtain * lift, self.seat)
        self.preload = base * self.net - self.rate * lift - self.force * opening * base
        self.preload = self.preload + v[r + "screw"] / (2 * np.pi) * v[r + "screw_pitch"] * self.rate
        self.kept, self.flow = 1 - v[r + "reference_leak"], self.cd * np.sqrt(2 / rho)
        j, n = "injectors.", v["engine.cylinders"]
        ref, test = v[j + "difference"], v[j + "test_density"]
        self.open = n * v[j + "static_flow"] * v[j + "flow_factor"] * np.sqrt(test / (2 * ref)) * np.sqrt(2 / rho)
        self.leak = np.maximum(v[j + "static_leak"] * np.sqrt(rho / (2 * ref)), 1e-18) * np.sqrt(2 / rho)
        self.short, self.count = v[j + "short_pulse"], n
        density = v["control.fuel_density"]
        self.coefficient = v[j + "static_flow"] * np.sqrt(test / ref) * np.sqrt(density)
        self.base = base
        self.mass = (1 + v["control.air_error"]) / (v["engine.lambda"] * self.afr) / n
        self.breath = v["engine.volumetric_efficiency"] * v["engine.displacement"] / GAS
        rows = np.array(dead)
        self.dv, self.dp = np.unique(rows[:, 0]), np.unique(rows[:, 1])
        self.dt = rows[:, 2].reshape(len(self.dv), len(self.dp))
        assert len(self.dp) == 2, "the demo table has two differences"

    def ask(self, point):
        w, boost, ve, volts = point
        v = self.v
        self.volts = volts + v["supply.voltage_offset"]
        self.man = self.ambient + boost
        self.ref = self.ambient + boost * self.kept
        self.cycle = 4 * np.pi / w
        charge = v["ambient.temperature"]
        if boost > 0:
            ratio = (self.man + v["engine.intercooler_loss"]) / (self.ambient - v["engine.intake_loss"])
            t2 = charge * (1 + (ratio ** ((GAMMA - 1) / GAMMA) - 1) / v["engine.compressor_efficiency"])
            charge = t2 - v["engine.intercooler_effectiveness"] * (t2 - charge)
        self.air = self.breath * ve * self.man / charge * (w / (4 * np.pi))
        self.asked = self.air / (v["engine.lambda"] * self.afr) / self.rho
        self.d0 = np.interp(self.volts, self.dv, self.dt[:, 0])
        self.d1 = np.interp(self.volts, self.dv, self.dt[:, 1])
        read = (self.man + v["reading.manifold_offset"]) / self.man
        mass = self.air * read * self.mass * self.cycle
        dead, _ = self.dead(self.base)
        width = mass / (self.coefficient * np.sqrt(self.base)) + dead + v["control.dead_time_error"]
        self.pulse = np.minimum(width, self.cycle)
        self.cracking = (self.ref * self.area + self.preload - self.ambient * self.seat) / self.net

    def dead(self, dp):
        span = self.dp[1] - self.dp[0]
        at = (dp - self.dp[0]) / span
        step = self.d1 - self.d0
        return self.d0 + step * np.clip(at, 0, 1), np.where((at > 0) & (at < 1), step / span, 0.0)

    def inject(self, dp):
        dead, slope = self.dead(dp)
        late, left = np.abs(dead), self.cycle - self.pulse
        leaves = left < late
        effective = self.pulse - dead
        some = leaves.any()
        if some:
            effective = np.where(leaves, self.cycle - late - dead, effective)
        time = np.maximum(effective, 0)
        brief = time < self.short
        lever = np.where(effective > 0, 1.0, 0.0)
        if brief.any():
            x = time / self.short
            lever = np.where(brief, x * (4 - 3 * x), lever)
            time = np.where(brief, self.short * x * x * (2 - x), time)
        moved = -lever * slope
        if some:
            share = 1 - left / late
            late_slope = np.where(dead < 0, -slope, slope)
            rest = self.cycle - time
            bent = -lever * (late_slope + slope) * (1 - share) + rest * left / late * late_slope / late
            moved = np.where(leaves, bent, moved)
            time = np.where(leaves, time + rest * share, time)
        held = self.pulse >= self.cycle
        if held.any():
            time, moved = np.where(held, self.cycle, time), np.where(held, 0.0, moved)
        slope = moved
        square = dp * dp + SMALL * SMALL
        fourth = np.sqrt(np.sqrt(square))
        unit = dp / fourth
        wide = self.open / self.cycle * time + self.leak
        return wide * unit, wide * (1 - 0.5 * dp * dp / square) / fourth + self.open / self.cycle * slope * unit

    def supply(self, q):
        aq = np.abs(q)
        sq = self.sq * aq
        inlet = self.ambient + self.head - (self.sl + sq) * q
        before = self.sl + 2 * sq
        margin = inlet - self.vapour
        strained = margin < self.required
        inner, fall_by, by_inlet, stiff = q, 1.0, 0.0, self.stiff
        if strained.any():
            f = margin / self.required
            derating = np.where(strained, np.maximum(f, 0.05), 1.0)
            by = np.where(strained & (f > 0.05), 1 / self.required, 0.0)
            inner, fall_by = q / derating, 1 / derating
        drive = self.g * (self.volts - self.idle * self.r) - inner
        rise, fall = drive / stiff, -1 / stiff
        over = rise > self.relief
        if over.any():
            stiff = stiff + 1 / self.rs
            rise = np.where(over, (drive + self.relief / self.rs) / stiff, rise)
            fall = np.where(over, -1 / stiff, fall)
        if strained.any():
            by_inlet = -fall * inner * fall_by * by
        y = q * self.valve
        y2 = y * y
        r = np.sqrt(y2 * y2 + 4 * SMALL * SMALL)
        h = np.sqrt(0.5 * (y2 + r))
        flows = q > 0
        valve, valve_q = y * h, self.valve * (h + 0.5 * y2 * (1 + y2 / r) / h)
        if not flows.all():
            valve, valve_q = np.where(flows, valve, self.shut * q), np.where(flows, valve_q, self.shut)
        hose, hose_q = self.feed.drop(q)
        fq = self.fq * aq
        p = inlet + rise - self.crack - valve - hose - (self.fl + fq) * q
        slope = fall * fall_by - (1 + by_inlet) * before - valve_q - hose_q - self.fl - 2 * fq
        return p, slope

    def start(self):
        rise = self.cracking - self.ambient
        q = np.clip(self.g * (self.volts - self.idle * self.r) - self.stiff * rise, 1e-7, 2e-4)
        p, slope = self.supply(q)
        self.slope = 1 / slope
        q = np.maximum(q + np.minimum((self.cracking - p) / slope, 0), 1e-9)
        d = np.maximum(self.cracking - self.ambient, 1e4)
        x = np.clip((q - self.asked) / (self.flow * self.curtain * np.sqrt(d)), 0, self.top)
        return x, d

    def follow(self, x, d, injected, asked, cracking):
        shut = x <= 0
        moved = np.where(shut, 0.0, self.cracking - cracking)
        d = np.where(shut, d, np.maximum(d + moved, 1e3))
        change = self.slope * moved - injected * (self.asked / asked - 1)
        x = np.clip(x + change / (self.flow * self.curtain * np.sqrt(d)), 0, self.top)
        return np.where(shut, 0.0, x), d

    def solve(self, x, d, most=60):
        for step in range(1, most + 1):
            root = np.sqrt(np.maximum(d, 1e-2))
            curtain = self.curtain * x
            lifting = curtain < self.seat
            area = np.minimum(curtain, self.seat)
            area_x = np.where(lifting, self.curtain, 0.0)
            qr = self.flow * area * root
            qr_x, qr_d = self.flow * area_x * root, 0.5 * qr / d
            back, back_q = self.back.drop(qr)
            rail = self.ambient + back + d
            rail_x, rail_d = back_q * qr_x, 1 + back_q * qr_d
            dp = rail - self.man
            qi, qi_p = self.inject(dp)
            force = d * self.net + (self.ambient + back - self.ref) * self.area - self.preload
            force = force - self.rate * x - self.force * area * d
            q, q_x, q_d = qi + qr, qr_x + qi_p * rail_x, qr_d + qi_p * rail_d
            q = q + np.where(x <= 0, np.minimum(force / self.net, 0) / CLOSED, 0.0)
            p, s = self.supply(q)
            b1 = p - rail
            a11, a12 = rail_x - s * q_x, rail_d - s * q_d
            a21 = back_q * qr_x * self.area - self.rate - self.force * area_x * d
            a22 = self.net + back_q * qr_d * self.area - self.force * area
            det = a11 * a22 - a12 * a21
            dx = (b1 * a22 + a12 * force) / det
            pinned = ((x <= 0) & (force <= 0)) | ((x >= self.top) & (force >= 0))
            dx = np.where(pinned, 0.0, dx)
            to = np.clip(x + dx, 0, self.top)
            hit = to != x + dx
            free = ~(pinned | hit)
            dx = to - x
            dd = np.where(free, (-a11 * force - a21 * b1) / det, (b1 - a11 * dx) / a12)
            least = np.where(x <= 0, -0.9 * np.maximum(dp, 1.0), -0.8 * np.maximum(d, 1.0))
            hit |= dd < least
            dd = np.maximum(dd, least)
            last, last_q = np.clip(3e-5 * d, 2.0, 10.0), np.clip(3e-4 * q, 3e-9, 1e-8)
            x, d = to, d + dd
            if not ((np.abs(dd) > last) | (np.abs(q_x * dx + q_d * dd) > last_q) | hit).any():
                break
        self.slope = 1 / s
        pressure = rail_x * dx + rail_d * dd
        self.bypassed = qr + qr_x * dx + qr_d * dd
        return x, d, rail + pressure, qi + qi_p * pressure, step


def run(task, v, fuel, block):
    n = len(fuel[0])
    points = task["points"]
    rail = np.empty((len(points), n))
    bypassed, lam = np.empty_like(rail), np.empty_like(rail)
    steps = 0
    for first in range(0, n, block):
        part = slice(first, min(first + block, n))
        cut = {k: (x[part] if isinstance(x, np.ndarray) else x) for k, x in v.items()}
        cars = Cars(cut, [f[part] for f in fuel], task["pump"], task["dead"])
        last = None
        for i, point in enumerate(points):
            cars.ask(point)
            x, d = cars.start() if last is None else cars.follow(*last)
            x, d, p, qi, used = cars.solve(x, d)
            steps += used * (part.stop - part.start)
            last = x, d, qi, cars.asked, cars.cracking
            rail[i, part] = p - cars.ambient
            bypassed[i, part] = cars.bypassed
            lam[i, part] = cars.air / (qi * cars.rho * cars.afr)
    return rail, bypassed, lam, steps / n / len(points)


def main():
    task = json.load(sys.stdin)
    draws = np.array(task["draws"])
    fuel = np.array(task["fuel"]).T.copy()
    base = task["base"]
    few = dict(base, **{p: x for p, x in zip(task["paths"], draws)})
    rail, *_ = run(task, few, list(fuel), 200)
    off = float(np.abs(rail.ravel() - np.array(task["rail"])).max())
    # The same draws repeated to a length worth timing; the best of some block sizes is what numpy can do.
    many = 100
    v = dict(base, **{p: np.tile(x, many) for p, x in zip(task["paths"], draws)})
    fuels = [np.tile(f, many) for f in fuel]
    points = draws.shape[1] * many * len(task["points"])
    best = None
    for block in (500, 1000, 2000, 4000, 10000):
        t = time.process_time()
        for _ in range(2):
            *_, steps = run(task, v, fuels, block)
        us = (time.process_time() - t) / 2 / points * 1e6
        if best is None or us < best[0]:
            best = (us, block, steps)
    json.dump(
        {"us": best[0], "block": best[1], "steps": round(best[2], 2), "off": off, "version": np.__version__}, sys.stdout
    )


main()
