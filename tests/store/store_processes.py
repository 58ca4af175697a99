"""Processes to be killed, forked from one that has imported everything: two hundred of them take seconds."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import traceback
from pathlib import Path
from typing import Any


class Forked:
    """A process that a Nursery began."""

    def __init__(self, nursery: Nursery, pid: int) -> None:
        self._nursery = nursery
        self.pid = pid

    def kill(self) -> None:
        """Ends it without warning (SIGKILL)."""
        self._nursery.ask({"kill": self.pid})

    def join(self) -> int:
        """Its exit status; negative for a signal."""
        return int(self._nursery.ask({"wait": self.pid}))


class Nursery:
    """Begins processes that call a function of store_work or office_rows."""

    def __init__(self) -> None:
        here = Path(__file__).resolve().parent
        self._process = subprocess.Popen(
            [sys.executable, str(here / "store_processes.py")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            # What is tested is what this process has imported, wherever it stands.
            env={**os.environ, "PYTHONPATH": os.pathsep.join([str(here), *filter(None, sys.path)])},
        )

    def begin(self, function: str, *given: Any) -> Forked:
        """Begins FUNCTION(*given); paths are given as they are, None too."""
        marked = [{"path": str(each)} if isinstance(each, Path) else each for each in given]
        return Forked(self, int(self.ask({"begin": function, "given": marked})))

    def ask(self, request: dict[str, Any]) -> Any:
        """Asks the process that forks, and gives its answer."""
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def close(self) -> None:
        """Ends it."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait(30)


def serve() -> None:
    """Forks, kills and waits as it is told on standard input."""
    import office_rows
    import store_work

    for line in sys.stdin:
        request = json.loads(line)
        answer: int | None = None
        if "begin" in request:
            answer = os.fork()
            if answer == 0:
                status = 1
                try:
                    given = [Path(g["path"]) if isinstance(g, dict) else g for g in request["given"]]
                    name = request["begin"]
                    getattr(store_work if hasattr(store_work, name) else office_rows, name)(*given)
                    status = 0
                except BaseException:
                    traceback.print_exc()
                finally:
                    sys.stderr.flush()
                    os._exit(status)
        elif "kill" in request:
            os.kill(request["kill"], 9)  # it is there still: nobody has waited for it
        else:
            answer = os.waitstatus_to_exitcode(os.waitpid(request["wait"], 0)[1])
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    serve()
