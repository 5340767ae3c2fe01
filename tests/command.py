"""The command `foldmark` in this process, as a shell would see it: a process of its own for each takes a second."""

import contextlib
import io
import os
import sys
from subprocess import CompletedProcess
from unittest import mock

from service.cli import main


def foldmark(*words, cwd=None, env=None, pasted=b""):
    """What the command printed, and its exit status. An error that is not told in words is raised, not printed."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    told = ["foldmark", *map(str, words)]
    with contextlib.ExitStack() as here:
        here.enter_context(mock.patch.object(sys, "argv", told))
        here.enter_context(mock.patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(pasted), encoding="utf-8")))
        here.enter_context(mock.patch.dict(os.environ, env or {}))
        here.enter_context(contextlib.redirect_stdout(out))
        here.enter_context(contextlib.redirect_stderr(err))
        if cwd:
            here.enter_context(contextlib.chdir(cwd))
        try:
            main()
            status = 0
        except SystemExit as ended:
            status = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    return CompletedProcess(told, status, *(stream.buffer.getvalue().decode() for stream in (out, err)))
