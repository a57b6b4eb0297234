//! CVODE of SUNDIALS 6 (C. Hindmarsh and others, ACM Trans. Math. Softw. 31 (2005) 363) driven through the same systems
//! as our own steppers: the same right-hand side, Jacobian, events and absolute tolerances.
//!
//! Needs the library of the system package `libsundials-dev`; hence the feature `cvode`.

use railrise::stepper::{After, Crossing, Matrix, Options, System};
use std::ffi::{c_int, c_long, c_void};
use std::ptr::null_mut;

type Handle = *mut c_void;
type Rhs = extern "C" fn(f64, Handle, Handle, Handle) -> c_int;
type RootFn = extern "C" fn(f64, Handle, *mut f64, Handle) -> c_int;
type JacobianFn = extern "C" fn(f64, Handle, Handle, Handle, Handle, Handle, Handle, Handle) -> c_int;

#[link(name = "sundials_cvode")]
#[link(name = "sundials_nvecserial")]
#[link(name = "sundials_sunmatrixdense")]
#[link(name = "sundials_sunlinsoldense")]
unsafe extern "C" {
    fn SUNContext_Create(comm: Handle, context: *mut Handle) -> c_int;
    fn SUNContext_Free(context: *mut Handle) -> c_int;
    fn N_VNew_Serial(length: i64, context: Handle) -> Handle;
    fn N_VGetArrayPointer_Serial(v: Handle) -> *mut f64;
    fn N_VDestroy_Serial(v: Handle);
    fn SUNDenseMatrix(rows: i64, columns: i64, context: Handle) -> Handle;
    fn SUNDenseMatrix_Data(a: Handle) -> *mut f64;
    fn SUNMatDestroy(a: Handle);
    fn SUNLinSol_Dense(y: Handle, a: Handle, context: Handle) -> Handle;
    fn SUNLinSolFree(s: Handle) -> c_int;
    fn CVodeCreate(family: c_int, context: Handle) -> Handle;
    fn CVodeInit(memory: Handle, f: Rhs, t0: f64, y0: Handle) -> c_int;
    fn CVodeReInit(memory: Handle, t0: f64, y0: Handle) -> c_int;
    fn CVodeSVtolerances(memory: Handle, relative: f64, absolute: Handle) -> c_int;
    fn CVodeSetLinearSolver(memory: Handle, solver: Handle, a: Handle) -> c_int;
    fn CVodeSetJacFn(memory: Handle, jacobian: JacobianFn) -> c_int;
    fn CVodeSetUserData(memory: Handle, data: Handle) -> c_int;
    fn CVodeSetMaxNumSteps(memory: Handle, steps: c_long) -> c_int;
    fn CVodeSetMaxHnilWarns(memory: Handle, most: c_int) -> c_int;
    fn CVodeSetNoInactiveRootWarn(memory: Handle) -> c_int;
    fn CVodeSetStopTime(memory: Handle, t: f64) -> c_int;
    fn CVodeRootInit(memory: Handle, count: c_int, g: RootFn) -> c_int;
    fn CVodeGetRootInfo(memory: Handle, found: *mut c_int) -> c_int;
    fn CVode(memory: Handle, t: f64, y: Handle, reached: *mut f64, task: c_int) -> c_int;
    fn CVodeGetNumSteps(memory: Handle, steps: *mut c_long) -> c_int;
    fn CVodeFree(memory: *mut Handle);
}

const NORMAL: c_int = 1;
const ROOT_RETURN: c_int = 2;
/// Shortest distance, s, over which it is asked to go: it refuses what is near the resolution of time.
const TOO_CLOSE: f64 = 1e-12;

/// Which family of multistep formulas.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Family {
    /// Adams-Moulton, order 1 to 12, for what is not stiff.
    Adams = 1,
    /// Backward differentiation, order 1 to 5, for what is.
    Bdf = 2,
}

/// A row on the grid that was asked for, and the end.
pub struct Solved<const N: usize> {
    /// States on the grid, the first of them at the start.
    pub rows: Vec<[f64; N]>,
    /// The last state.
    pub y: [f64; N],
    /// Steps taken.
    pub steps: u64,
}

struct Seen<'a, const N: usize, S> {
    system: &'a S,
    active: usize,
    room: Matrix<N>,
}

/// Full-length state from the active part that CVODE carries.
unsafe fn read<const N: usize>(v: Handle, active: usize) -> [f64; N] {
    let mut y = [0.0; N];
    unsafe { std::ptr::copy_nonoverlapping(N_VGetArrayPointer_Serial(v), y.as_mut_ptr(), active) };
    y
}

unsafe fn write(v: Handle, y: &[f64]) {
    unsafe { std::ptr::copy_nonoverlapping(y.as_ptr(), N_VGetArrayPointer_Serial(v), y.len()) };
}

extern "C" fn rhs<const N: usize, S: System<N>>(t: f64, y: Handle, dy: Handle, data: Handle) -> c_int {
    // SAFETY: `data` is the `Seen` that `solve` keeps alive around the call; vectors are `active` long.
    unsafe {
        let seen = &*data.cast::<Seen<'_, N, S>>();
        let y = read::<N>(y, seen.active);
        let mut out = [0.0; N];
        seen.system.rhs(t, &y, &mut out);
        write(dy, &out[..seen.active]);
    }
    0
}

extern "C" fn roots<const N: usize, S: System<N>>(t: f64, y: Handle, g: *mut f64, data: Handle) -> c_int {
    // SAFETY: as `rhs`; `g` holds `root_count` numbers.
    unsafe {
        let seen = &*data.cast::<Seen<'_, N, S>>();
        let y = read::<N>(y, seen.active);
        seen.system.roots(t, &y, std::slice::from_raw_parts_mut(g, seen.system.root_count()));
    }
    0
}

extern "C" fn jacobian<const N: usize, S: System<N>>(
    t: f64,
    y: Handle,
    f: Handle,
    out: Handle,
    data: Handle,
    _: Handle,
    _: Handle,
    _: Handle,
) -> c_int {
    // SAFETY: as `rhs`; the matrix is dense, by columns, `active` square.
    unsafe {
        let seen = &mut *data.cast::<Seen<'_, N, S>>();
        let n = seen.active;
        let j = &mut seen.room;
        seen.system.jacobian(t, &read::<N>(y, n), &read::<N>(f, n), j);
        let to = std::slice::from_raw_parts_mut(SUNDenseMatrix_Data(out), n * n);
        for c in 0..n {
            for r in 0..n {
                to[c * n + r] = j.get(r, c);
            }
        }
    }
    0
}

/// Integrates from (t0, y0) to t1 with the absolute tolerances of `options`, landing on events as our run loop does.
/// With a `grid` the state is recorded that often.
pub fn solve<const N: usize, S: System<N>>(
    system: &mut S,
    family: Family,
    (t0, y0, t1): (f64, [f64; N], f64),
    options: &Options<N>,
    grid: Option<f64>,
) -> Solved<N> {
    let n = options.active;
    let ok = |code: c_int| assert!(code >= 0, "CVODE returned {code}");
    // SAFETY: each handle comes from the library and is freed once, below; `seen` outlives every call that reads it.
    unsafe {
        let mut context = null_mut();
        ok(SUNContext_Create(null_mut(), &raw mut context));
        let y = N_VNew_Serial(n as i64, context);
        let tolerance = N_VNew_Serial(n as i64, context);
        write(y, &y0[..n]);
        write(tolerance, &options.absolute[..n]);
        let mut memory = CVodeCreate(family as c_int, context);
        ok(CVodeInit(memory, rhs::<N, S>, t0, y));
        ok(CVodeSVtolerances(memory, options.relative, tolerance));
        let matrix = SUNDenseMatrix(n as i64, n as i64, context);
        let solver = SUNLinSol_Dense(y, matrix, context);
        ok(CVodeSetLinearSolver(memory, solver, matrix));
        ok(CVodeSetJacFn(memory, jacobian::<N, S>));
        ok(CVodeSetMaxNumSteps(memory, 10_000_000));
        ok(CVodeSetMaxHnilWarns(memory, -1));
        ok(CVodeRootInit(memory, system.root_count() as c_int, roots::<N, S>));
        ok(CVodeSetNoInactiveRootWarn(memory));
        let mut t = t0;
        let mut rows = Vec::new();
        let mut steps = 0;
        let mut found = vec![0; system.root_count()];
        let mut room = Matrix::<N>::zeros();
        let row = |k: usize| grid.map_or(f64::INFINITY, |g| t0 + k as f64 * g);
        if grid.is_some() {
            rows.push(y0);
        }
        while t < t1 {
            let edge = system.next_time_event(t).filter(|e| *e <= t1);
            let stop = edge.unwrap_or(t1);
            let mut hit = None;
            if stop > t {
                let mut seen = Seen { system: &*system, active: n, room: std::mem::take(&mut room) };
                ok(CVodeSetUserData(memory, (&raw mut seen).cast()));
                ok(CVodeSetStopTime(memory, stop));
                while t < stop {
                    // What lies closer than rounding lets it start towards is already reached.
                    if stop - t < TOO_CLOSE {
                        t = stop;
                        break;
                    }
                    if row(rows.len()) - t < TOO_CLOSE {
                        rows.push(read::<N>(y, n));
                        continue;
                    }
                    let target = row(rows.len()).min(stop);
                    let code = CVode(memory, target, y, &raw mut t, NORMAL);
                    ok(code);
                    if code == ROOT_RETURN {
                        ok(CVodeGetRootInfo(memory, found.as_mut_ptr()));
                        hit = found.iter().position(|f| *f != 0).map(|root| (root, found[root] > 0));
                        break;
                    }
                    if t >= row(rows.len()) {
                        rows.push(read::<N>(y, n));
                    }
                }
                room = seen.room;
            }
            let mut state = read::<N>(y, n);
            let mut again = After::Continue;
            if let Some((root, rising)) = hit {
                again = system.at_root(Crossing { root, rising }, t, &mut state);
            }
            if edge.is_some_and(|e| t >= e) {
                again = system.at_time_event(t, &mut state);
            }
            if again != After::Continue {
                write(y, &state[..n]);
                let mut more = 0;
                ok(CVodeGetNumSteps(memory, &raw mut more));
                steps += more as u64;
                ok(CVodeReInit(memory, t, y));
            }
        }
        let mut more = 0;
        ok(CVodeGetNumSteps(memory, &raw mut more));
        let end = read::<N>(y, n);
        CVodeFree(&raw mut memory);
        SUNLinSolFree(solver);
        SUNMatDestroy(matrix);
        N_VDestroy_Serial(y);
        N_VDestroy_Serial(tolerance);
        SUNContext_Free(&raw mut context);
        Solved { rows, y: end, steps: steps + more as u64 }
    }
}
