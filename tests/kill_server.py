"""Does whole jobs, each in a process of its own forked from one that has everything imported, and says how far it is.

A line of JSON on stdin names the files, the settings and the folder; told on stdout: the process, each word of the job
with a tab before it, and how it ended. So a job can be killed at a moment of any stage, and many jobs cost little:
templates are compiled beforehand, and charts are not drawn but stand as one and the same small picture.
"""

from __future__ import annotations

import json
import os
import pkgutil
import sys
import threading
import traceback
from datetime import date
from importlib import import_module
from importlib.resources import files
from pathlib import Path

import jinja2
import vl_convert

import bobstay
from bobstay import run
from bobstay import settings as settings_file
from bobstay.report.site import templates
from bobstay.settings import Words
from bobstay.wording import wording_of

LEFT_OUT = ("__main__", "bench", "study", "cli")
PICTURE = '<svg viewBox="0 0 9 9" xmlns="http://www.w3.org/2000/svg"><g><path d="M0,0L9,9"/></g></svg>'
OUTSIDE = ("altair", "vl_convert", "typst", "xlsxwriter", "icalendar", "jinja2", "scipy.optimize", "pyarrow.parquet")


def _tell(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def _job(paths: list[str], out: str, settings: str) -> None:
    _tell(f"process {os.getpid()}")
    how = settings_file.load(Path(settings))
    store, words = Path(out) / "b.duckdb", lambda text: _tell(f"\t{text}")
    code = run.whole_job([Path(f) for f in paths], out=Path(out), store_path=store, settings=how, say=words)
    _tell("\tdone")
    os._exit(code)


def _cheapen() -> None:
    compiled, compile_ = {}, jinja2.Environment.compile

    def once(env, source, *names):
        if source not in compiled:
            compiled[source] = compile_(env, source, *names)
        return compiled[source]

    jinja2.Environment.compile = once
    env = templates(wording_of(Words()), as_of=date(2020, 1, 1))
    for path in files("bobstay.templates").iterdir():
        if path.name.endswith(".j2"):
            env.get_template(path.name)
    vl_convert.vegalite_to_svg = lambda *_, **__: PICTURE


def _serve() -> None:
    for line in sys.stdin:
        wanted = json.loads(line)
        child = os.fork()
        if child == 0:
            try:
                _job(**wanted)
            except BaseException:
                traceback.print_exc()
                os._exit(1)
        _, status = os.waitpid(child, 0)
        _tell(f"ended {os.waitstatus_to_exitcode(status)}")


if __name__ == "__main__":
    for module in pkgutil.walk_packages(bobstay.__path__, "bobstay."):
        if not any(part in LEFT_OUT for part in module.name.split(".")):
            import_module(module.name)
    for name in OUTSIDE:
        import_module(name)
    _cheapen()
    if threading.active_count() != 1:
        sys.exit("a process with threads cannot be forked")
    _tell("ready")
    _serve()
