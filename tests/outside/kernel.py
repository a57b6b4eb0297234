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

    def __init__(self):
        self.manager = KernelManager(kernel_name="railrise")
        self.published, self.replies = [], []
        begun = time.time()
        self.manager.start_kernel()
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
        self.assertIn("variables are gone", "\n".join(reply["traceback"]))
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

    def test_forged_and_malformed_messages_are_dropped(self):
        k = self.kernel
        honest, forged = k.client.session, Session(key=b"wrong")
        forged.send(k.client.shell_channel.socket, "execute_request", {"code": "let forged = 1;", "silent": False})
        k.client.shell_channel.socket.send_multipart([b"noise"])
        k.client.shell_channel.socket.send_multipart([b"<IDS|MSG>", b"zz", b"{}", b"{}", b"{}", b"{"])
        self.assertEqual(text(k.run("kept")[1]), "41")
        self.assertEqual(k.run("forged")[0]["status"], "error")
        self.assertIs(k.client.session, honest)

    def test_silent_and_unstored(self):
        k = self.kernel
        before = k.run("0")[0]["execution_count"]
        reply, outputs = k.run('println!("x"); 5', silent=True)
        self.assertEqual((outputs, reply["execution_count"]), ([], before))
        reply, outputs = k.run("5", store_history=False)
        self.assertEqual((text(outputs), reply["execution_count"]), ("5", before))
        self.assertEqual(k.run("0")[0]["execution_count"], before + 1)

    def test_live_output_and_order(self):
        k = self.kernel
        message = k.send('print!("one"); std::thread::sleep(std::time::Duration::from_millis(1500)); println!(" two"); eprintln!("three");')
        times, seen = [], ""
        while "three" not in seen:
            got = k.client.get_iopub_msg(timeout=60)
            if got["msg_type"] == "stream" and got["parent_header"]["msg_id"] == message:
                times.append(time.time())
                seen += got["content"]["text"]
        k.client.get_shell_msg(timeout=60)
        self.assertIn("one two\n", seen)

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
