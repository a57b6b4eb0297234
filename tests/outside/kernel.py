"""Holds the kernel against the programs that notebooks are used with.

- `jupyter_kernel_test`: its twelve samples of the protocol.
- A client of our own: interrupts, lost evaluators, forged messages, silent cells, several kernels at once.
- `nbclient`, `nbconvert --execute` and `papermill` run a notebook.

Run:  python tests/outside/kernel.py [PROGRAM]
PROGRAM is the built `railrise` (default: target/release/railrise). The packages stand in tests/outside/requirements.txt.
"""

import asyncio
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import time
import unittest

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = pathlib.Path(os.environ.get("RAILRISE", ROOT / "target/release/railrise")).resolve()
PREFIX = pathlib.Path(tempfile.mkdtemp(prefix="railrise kernels "))
os.environ["JUPYTER_PATH"] = str(PREFIX / "share/jupyter")
# A virtual environment's own folder of settings must not decide what is tested.
os.environ.setdefault("JUPYTER_PLATFORM_DIRS", "1")

import jupyter_kernel_test
import nbclient
import nbformat
from jupyter_client import KernelManager
from jupyter_client.kernelspec import KernelSpecManager
from jupyter_client.session import Session


def setUpModule():
    done = subprocess.run([PROGRAM, "kernel", "install", "--prefix", PREFIX], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    listed = subprocess.run([PROGRAM, "kernel", "list", "--prefix", PREFIX], capture_output=True, text=True)
    assert listed.stdout.startswith("railrise\t"), listed.stdout


def tearDownModule():
    done = subprocess.run([PROGRAM, "kernel", "remove", "--prefix", PREFIX], capture_output=True, text=True)
    assert done.returncode == 0 and not (PREFIX / "share/jupyter/kernels/railrise").exists(), done.stderr
    shutil.rmtree(PREFIX, ignore_errors=True)


class Protocol(jupyter_kernel_test.KernelTests):
    kernel_name = "railrise"
    language_name = "rust"
    file_extension = ".rs"
    code_hello_world = 'println!("hello, world");'
    code_stderr = 'eprintln!("test");'
    completion_samples = [{"text": "printl", "matches": {"println!(…)", "println!()", "println"}}]
    complete_code_samples = ["1", "let x = 1;", 'println!("hello");', "fn f() -> u8 { 1 }"]
    incomplete_code_samples = ["fn f() {", 'println!("', "let v = vec![1,"]
    invalid_code_samples = ["let = = 2;", "import numpy as np"]
    code_page_something = ":help"
    code_generate_error = 'panic!("on purpose")'
    code_execute_result = [
        {"code": "6 * 7", "result": "42"},
        {"code": "vec![1, 2]", "result": "[1, 2]"},
        {"code": "(2.0f64).sqrt() > 1.4", "result": "true"},
    ]
    code_display_data = [
        {"code": 'show(&Bundle::text("t").html("<b>t</b>"));', "mime": "text/html"},
        {"code": 'show(&Bundle::text("p").svg("<svg xmlns=\\"http://www.w3.org/2000/svg\\"/>"));', "mime": "image/svg+xml"},
        {"code": 'show(&Bundle::text("x").latex("$x$"));', "mime": "text/latex"},
        {"code": 'show(&Bundle::text("m").markdown("**m**"));', "mime": "text/markdown"},
    ]
    code_inspect_sample = "Vec"
    code_clear_output = 'println!("a"); clear_output(false);'
    code_history_pattern = "6 *?7"
    supported_history_operations = ("tail", "search", "range")

    def test_completion(self):
        # The suite wants exact sets; which forms a macro is offered in is the analyser's matter.
        self.flush_channels()
        message = self.kc.complete("let v = vec![1.0]; v.le")
        reply = self.get_non_kernel_info_reply()
        self.assertEqual(reply["parent_header"]["msg_id"], message)
        self.assertTrue(any(m.startswith("len") for m in reply["content"]["matches"]), reply["content"])
        self.assertEqual(reply["content"]["cursor_start"], len("let v = vec![1.0]; v."))

    def history_helper(self, execute_codes, timeout=60, **args):
        return super().history_helper(execute_codes, timeout=timeout, **args)


class Client:
    """A kernel and a client, with the outputs of a cell collected."""

    def __init__(self, manager=None, **how):
        self.manager = manager or KernelManager(kernel_name="railrise")
        self.published, self.replies = [], []
        begun = time.time()
        self.manager.start_kernel(**how)
        self.client = self.manager.client()
        self.client.start_channels()
        self.client.wait_for_ready(timeout=60)
        self.answered = time.time() - begun

    def send(self, code, **how):
        return self.client.execute(code, allow_stdin=False, **how)

    def wait(self, message, timeout=120):
        """The reply to a request and what was published about it; keeps what belongs to others."""
        end = time.time() + timeout
        left = lambda: max(0.1, end - time.time())
        mine = lambda got: got["parent_header"].get("msg_id") == message
        while not any(mine(g) and g["content"].get("execution_state") == "idle" for g in self.published):
            self.published.append(self.client.get_iopub_msg(timeout=left()))
        while not any(mine(g) for g in self.replies):
            self.replies.append(self.client.get_shell_msg(timeout=left()))
        outputs = [g for g in self.published if mine(g) and g["msg_type"] not in ("status", "execute_input")]
        reply = next(g["content"] for g in self.replies if mine(g))
        self.published = [g for g in self.published if not mine(g)]
        self.replies = [g for g in self.replies if not mine(g)]
        return reply, outputs

    def run(self, code, **how):
        return self.wait(self.send(code, **how))

    def close(self):
        self.client.stop_channels()
        self.manager.shutdown_kernel(now=False)


def text(outputs):
    results = [o["content"]["data"]["text/plain"] for o in outputs if o["msg_type"] == "execute_result"]
    return results[-1] if results else None


class Behaviour(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.kernel = Client()
        cls.kernel.run("let kept = 41;")

    @classmethod
    def tearDownClass(cls):
        cls.kernel.close()

    def test_alive_at_once(self):
        self.assertLess(self.kernel.answered, 2.5, "bound and answering long before the evaluator is ready")

    def test_interrupt_of_a_listening_loop_keeps_everything(self):
        k = self.kernel
        code = 'let mut n = 0u64; for _ in progress("long", 0..6000) { std::thread::sleep(std::time::Duration::from_millis(10)); n += 1; }'
        message = k.send(code)
        time.sleep(3)
        asked = time.time()
        k.manager.interrupt_kernel()
        reply, _ = k.wait(message)
        self.assertLess(time.time() - asked, 1.0)
        self.assertEqual((reply["status"], reply["ename"]), ("error", "interrupted"))
        self.assertEqual(text(k.run("kept + 1")[1]), "42")
        self.assertEqual(text(k.run("n > 50 && n < 6000")[1]), "true", "the partial result is there")

    def test_interrupt_of_a_long_study_keeps_what_it_has(self):
        k = self.kernel
        # A circuit for the general solver: a minute of the fast path would be a hundred million draws.
        k.run('let study_car = car("layouts/dead-end-rail").with_spreads_by_grade(); let before = study_car.at(rpm(5800.0), bar(1.0));')
        short = "let short = across_tolerances(&study_car, rpm(5800.0), 2000, 11);"
        measured = text(k.run(f"let clock = std::time::Instant::now(); {short} clock.elapsed().as_secs_f64()")[1])
        draws = int(2000 * 240 / float(measured))
        message = k.send(f"let long = across_tolerances(&study_car, rpm(5800.0), {draws}, 11);")
        time.sleep(4)
        asked = time.time()
        k.manager.interrupt_kernel()
        reply, outputs = k.wait(message)
        took = time.time() - asked
        self.assertEqual((reply["status"], reply["ename"]), ("error", "interrupted"))
        bars = [o["content"]["data"]["text/plain"] for o in outputs if o["msg_type"].endswith("display_data")]
        done, total = (int(n) for n in re.search(r": (\d+) of (\d+) ", bars[-1]).groups())
        self.assertGreater(4.0 * total / max(done, 1), 60.0, "left alone it would have taken a minute")
        self.assertLess(took, 1.0)
        print(f"interrupted after {done} of {total} draws, back within {took:.2f} s", file=sys.stderr)
        shown = k.run("long")[1]
        self.assertRegex(text(shown), r"\b\d+ of \d+\b", "the partial result has its rows")
        self.assertEqual(text(k.run("kept == 41 && before.lambda().number() == study_car.at(rpm(5800.0), bar(1.0)).lambda().number()")[1]), "true")

    def test_interrupt_by_signal(self):
        k = self.kernel
        message = k.send("while !cancelled() { std::thread::sleep(std::time::Duration::from_millis(5)); }")
        time.sleep(2)
        os.kill(k.manager.provisioner.pid, 2)
        reply, _ = k.wait(message)
        self.assertEqual(reply["ename"], "interrupted")
        self.assertEqual(text(k.run("kept")[1]), "41")

    def test_a_deaf_loop_is_ended_and_says_so(self):
        kernel = Client()
        kernel.run("let gone = 1; fn stays() -> u8 { 7 }")
        message = kernel.send("loop {}")
        time.sleep(2)
        asked = time.time()
        kernel.manager.interrupt_kernel()
        reply, _ = kernel.wait(message)
        self.assertLess(time.time() - asked, 3.0)
        said = "\n".join(reply["traceback"])
        for words in ("did not listen", "cancelled()", "variables are gone", "Run the cells above again"):
            self.assertIn(words, said)
        self.assertEqual(text(kernel.run("stays()")[1]), "7")
        self.assertEqual(kernel.run("gone")[0]["status"], "error")
        self.assertEqual(text(kernel.run("let again = 5; again")[1]), "5")
        kernel.close()

    def test_a_killed_evaluator_is_survived(self):
        kernel = Client()
        message = kernel.send("std::process::abort()")
        reply, _ = kernel.wait(message)
        self.assertEqual(reply["ename"], "evaluator ended")
        self.assertEqual(text(kernel.run("1 + 1")[1]), "2")
        reply, outputs = kernel.run('panic!("after the restart")')
        self.assertEqual(reply["ename"], "panic", "panics are caught by the new process too")
        kernel.close()

    def test_forged_and_malformed_messages_are_dropped_and_logged(self):
        with tempfile.TemporaryFile(mode="w+") as log:
            k = Client(stderr=log)
            k.run("let kept = 41;")
            socket = k.client.shell_channel.socket
            # A header that a client may send, signed with another key, in each of the two channels of requests.
            forged = Session(key=b"wrong")
            forged.send(socket, "execute_request", {"code": "let forged = 1;", "silent": False})
            forged.send(k.client.control_channel.socket, "shutdown_request", {"restart": False})
            socket.send_multipart([b"noise"])
            socket.send_multipart([b"<IDS|MSG>", b"zz", b"{}", b"{}", b"{}", b"{"])
            socket.send_multipart([b"<IDS|MSG>", b"", b"{}"])
            # Signed as it should be, but not JSON.
            parts = [b"{}", b"{}", b"{}", b"{"]
            socket.send_multipart([b"<IDS|MSG>", k.client.session.sign(parts), *parts])
            self.assertEqual(text(k.run("kept")[1]), "41")
            self.assertEqual(k.run("forged")[0]["status"], "error")
            k.close()
            log.seek(0)
            logged = log.read()
        self.assertEqual(logged.count("dropped a message with a wrong signature"), 2, logged)
        for words in ("without its delimiter", "a signature that is not hexadecimal", "with 2 frames", "content is not JSON"):
            self.assertIn(f"{words}", logged)

    def ask(self, message):
        while True:
            got = self.kernel.client.get_shell_msg(timeout=60)
            if got["parent_header"].get("msg_id") == message:
                return got["content"]

    def test_completion_names_the_unit_a_parameter_takes(self):
        k = self.kernel
        k.run('let asked_car = car("hill-climb-car/cure-second-pump");')
        members = self.ask(k.client.complete("asked_car.a"))["matches"]
        self.assertIn("at(speed, boost)", members)
        for code, parameter, words in (
            ("asked_car.at(", "speed", ["rpm"]),
            ("asked_car.at(rpm(4000.0), ", "boost", ["bar", "psi", "kpa", "in_hg"]),
            ("asked_car.simulated_boost(bar(1.4), ", "supply", ["volts"]),
            ("across_tolerances(&asked_car, ", "speed", ["rpm"]),
        ):
            found = self.ask(k.client.complete(code))
            first = found["metadata"]["_jupyter_types_experimental"][: len(words)]
            self.assertEqual([f["text"] for f in first], [f"{w}(1.0)" for w in words], code)
            self.assertTrue(all(f["signature"].startswith(f"{parameter}: ") for f in first), first)
            reply, _ = k.run(f"let tried = {words[0]}(1.0);")
            self.assertEqual(reply["status"], "ok", "what is offered is code")
        found = self.ask(k.client.complete("asked_car.at(rpm(4000.0), p"))
        self.assertEqual((found["matches"][0], found["cursor_start"], found["cursor_end"]), ("psi(1.0)", 26, 27))

    def test_inspection_tells_signature_formula_units_and_source(self):
        k = self.kernel
        k.run('let seen_car = car("hill-climb-car/cure-second-pump"); let seen = seen_car.at(rpm(4000.0), bar(1.0));')
        for code, parts in {
            "car": ["pub fn car(name: &str) -> Car", "A demo car", "Panics: "],
            "seen_car.at": ["pub fn at(&self, speed: AngularVelocity, boost: Pressure) -> Reading", "speed takes rpm(…)", "boost takes bar(…)", "Panics: "],
            # 1 psi = 6.894 757 E+03 Pa: NIST SP 811 (2008), appendix B.8.
            "psi": ["pub fn psi(value: f64) -> Pressure", "x · 6894.757 Pa", "Source: NIST SP 811"],
            "bar": ["pub fn bar(value: f64) -> Pressure", "x · 100000 Pa", "Source: "],
            "seen.duty": ["pub fn duty(&self) -> Ratio", "Formula: D = t_p / t_c", "in s", "Source: "],
            "railrise::part::orifice::orifice_flow": [
                "difference: Pressure", "Formula: Q = C_d A √(2|Δp|/ρ)", "A area, m²", "Valid range: ", "Source: Bernoulli", "density takes kg_per_m3(…)"],
        }.items():
            found = self.ask(k.client.inspect(code))
            self.assertTrue(found["found"], code)
            for part in parts:
                self.assertIn(part, found["data"]["text/plain"], code)
            self.assertNotIn("href=", found["data"]["text/html"], "nothing leads out of the machine")

    def test_the_line_for_a_plain_rust_kernel_is_passed_over(self):
        begun = time.time()
        code = '// why\n:dep railrise = { path = "nowhere", default-features = false }\nuse railrise::prelude::*;'
        reply, outputs = self.kernel.run(code)
        self.assertEqual((reply["status"], outputs), ("ok", []))
        self.assertLess(time.time() - begun, 1.0)

    def test_silent_and_unstored(self):
        k = self.kernel
        before = k.run("0")[0]["execution_count"]
        reply, outputs = k.run('println!("x"); 5', silent=True)
        self.assertEqual((outputs, reply["execution_count"]), ([], before))
        reply, outputs = k.run("5", store_history=False)
        self.assertEqual((text(outputs), reply["execution_count"]), ("5", before))
        self.assertEqual(k.run("0")[0]["execution_count"], before + 1)

    def test_output_is_live_and_whole(self):
        k = self.kernel
        message = k.send('println!("one"); std::thread::sleep(std::time::Duration::from_millis(1500)); print!("two"); eprintln!("three");')
        came, seen, busy = {}, {"stdout": "", "stderr": ""}, True
        while busy:
            got = k.client.get_iopub_msg(timeout=60)
            if got["parent_header"].get("msg_id") == message and got["msg_type"] == "stream":
                seen[got["content"]["name"]] += got["content"]["text"]
                for word in ("one", "two"):
                    if word in seen["stdout"]:
                        came.setdefault(word, time.time())
            busy = not (got["parent_header"].get("msg_id") == message and got["content"].get("execution_state") == "idle")
        k.client.get_shell_msg(timeout=60)
        self.assertEqual(seen, {"stdout": "one\ntwo", "stderr": "three\n"})
        self.assertGreater(came["two"] - came["one"], 1.0, "the first line did not wait for the second")

    def test_cells_after_a_failing_one_do_not_run(self):
        k = self.kernel
        first, second = k.send('panic!("stop")'), k.send("let never = 1;")
        self.assertEqual(k.wait(first)[0]["status"], "error")
        self.assertEqual(k.wait(second)[0]["status"], "aborted")
        self.assertEqual(k.run("never")[0]["status"], "error")

    def test_input_is_refused(self):
        reply, _ = self.kernel.run("let mut s = String::new(); std::io::stdin().read_line(&mut s).unwrap(); s")
        self.assertEqual(reply["ename"], "input refused")

    def test_expressions_and_comms(self):
        k = self.kernel
        reply, _ = k.run("let e = 3;", user_expressions={"twice": "e * 2", "bad": "nothing_here"})
        self.assertEqual(reply["user_expressions"]["twice"]["data"]["text/plain"], "6")
        self.assertEqual(reply["user_expressions"]["bad"]["status"], "error")
        message = k.client.session.msg("comm_open", {"comm_id": "c1", "target_name": "none", "data": {}})
        k.client.shell_channel.send(message)
        while True:
            got = k.client.get_iopub_msg(timeout=30)
            if got["msg_type"] == "comm_close":
                break
        self.assertEqual(got["content"]["comm_id"], "c1")

    def test_six_at_once(self):
        kernels = [Client() for _ in range(6)]
        messages = [k.send(f"let v = vec![{n}.0; 3]; v.len() + {n}") for n, k in enumerate(kernels)]
        answers = [text(k.wait(m, timeout=300)[1]) for k, m in zip(kernels, messages)]
        self.assertEqual(answers, [str(3 + n) for n in range(6)])
        for k in kernels:
            k.close()


def sample(folder, source="rpm * 2.0"):
    book = nbformat.v4.new_notebook(
        cells=[
            nbformat.v4.new_code_cell("let rpm = 6500.0;", metadata={"tags": ["parameters"]}),
            nbformat.v4.new_code_cell(source),
        ],
        metadata={"kernelspec": {"name": "railrise", "display_name": "Railrise", "language": "rust"}},
    )
    path = pathlib.Path(folder) / "sample.ipynb"
    nbformat.write(book, path)
    return path


class Places(unittest.TestCase):
    """A user whose home and checkout have a space in their paths, beside the user who runs this."""

    def test_another_user_with_spaces_beside_this_one(self):
        folder = pathlib.Path(tempfile.mkdtemp(prefix="railrise places "))
        self.addCleanup(shutil.rmtree, folder, ignore_errors=True)
        home, checkout = folder / "her home", folder / "her checkout"
        home.mkdir()
        checkout.mkdir()
        for part in ("Cargo.toml", "Cargo.lock"):
            shutil.copy(ROOT / part, checkout)
        for part in ("src", "datasets"):
            shutil.copytree(ROOT / part, checkout / part)
        hers = {k: v for k, v in os.environ.items() if not k.startswith(("XDG_", "JUPYTER_", "RAILRISE_"))}
        for tool in ("CARGO", "RUSTUP"):
            hers.setdefault(f"{tool}_HOME", str(pathlib.Path.home() / f".{tool.lower()}"))
        # A cache below such a home will not do, so it goes where temporary files go.
        scratch = pathlib.Path(tempfile.mkdtemp(prefix="railrise-places-"))
        self.addCleanup(shutil.rmtree, scratch, ignore_errors=True)
        hers |= {"HOME": str(home), "RAILRISE_SOURCE": str(checkout), "TMPDIR": str(scratch)}
        # What is at hand need not be fetched once more.
        sources = pathlib.Path.home() / ".cache/railrise/rust-src"
        if (sources / "core").is_dir():
            hers.setdefault("RUST_SRC_PATH", str(sources))
        kernel = lambda *words: subprocess.run([PROGRAM, "kernel", *words], env=hers, capture_output=True, text=True)
        done = kernel("install", "--user", "--name", "hers")
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(kernel("list").stdout.splitlines(), [f"hers\t{home}/.local/share/jupyter/kernels/hers"])
        specs = KernelSpecManager(kernel_dirs=[str(home / ".local/share/jupyter/kernels")])
        clients = [Client(KernelManager(kernel_name="hers", kernel_spec_manager=specs), env=hers, cwd=str(home)), Client()]
        cell = 'let asked = car("hill-climb-car/cure-second-pump"); format!("{:.3}", asked.at(rpm(4000.0), bar(1.0)).lambda().number())'
        messages = [c.send(cell) for c in clients]
        answers = [text(c.wait(m, timeout=300)[1]) for c, m in zip(clients, messages)]
        self.assertRegex(answers[0], r'^"0\.\d+"$')
        self.assertEqual(answers[0], answers[1])
        where = text(clients[0].run("std::env::current_dir().unwrap()")[1])
        self.assertEqual(json.loads(where), str(home), "her cells run in her folder")
        for c in clients:
            c.close()
        self.assertEqual(kernel("remove", "--user", "--name", "hers").returncode, 0)
        self.assertEqual(kernel("list", "--user").stdout, "")
        self.assertNotEqual(kernel("remove", "--name", "hers").returncode, 0, "what is gone cannot be removed")


class Programs(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="railrise programs "))

    def tearDown(self):
        shutil.rmtree(self.folder, ignore_errors=True)

    def test_nbclient(self):
        book = nbformat.read(sample(self.folder), 4)
        nbclient.NotebookClient(book, timeout=120, kernel_name="railrise").execute()
        self.assertEqual(book.cells[1].outputs[0].data["text/plain"], "13000.0")

    def test_nbclient_reports_an_error(self):
        book = nbformat.read(sample(self.folder, "let x: u32 = rpm;"), 4)
        with self.assertRaises(nbclient.exceptions.CellExecutionError):
            nbclient.NotebookClient(book, timeout=120, kernel_name="railrise").execute()

    def test_nbconvert(self):
        path = sample(self.folder)
        command = [sys.executable, "-m", "jupyter", "nbconvert", "--execute", "--to", "html", str(path)]
        done = subprocess.run(command, capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn("13000.0", path.with_suffix(".html").read_text())

    def test_papermill(self):
        import papermill
        from papermill.translators import PapermillException, Translator, papermill_translators

        class Rust(Translator):
            @classmethod
            def translate_none(cls, value):
                raise PapermillException("Rust has no value for nothing")

            @classmethod
            def translate_int(cls, value):
                return str(value)

            @classmethod
            def translate_float(cls, value):
                return repr(float(value))

            @classmethod
            def translate_bool(cls, value):
                return "true" if value else "false"

            @classmethod
            def translate_list(cls, value):
                return f"vec![{', '.join(cls.translate(v) for v in value)}]"

            @classmethod
            def comment(cls, text):
                return f"// {text}"

            @classmethod
            def assign(cls, name, value):
                return f"let {name} = {value};"

        papermill_translators.register("rust", Rust)
        out = self.folder / "out.ipynb"
        papermill.execute_notebook(str(sample(self.folder)), str(out), {"rpm": 7000.0}, progress_bar=False)
        book = nbformat.read(out, 4)
        self.assertEqual(book.cells[-1].outputs[0].data["text/plain"], "14000.0")


if __name__ == "__main__":
    if len(sys.argv) > 1 and pathlib.Path(sys.argv[1]).exists():
        PROGRAM = pathlib.Path(sys.argv.pop(1)).resolve()
    unittest.main(verbosity=2)
