"""Tasks in processes of their own, results in the order of the tasks.

A process per task: memory is given back, and firmware that brings its process down (the rig
catches what it can) costs one task and not the check. Forked, so that the built firmware is
there without a second look for it. Which process ran what never shows in a result.
"""

import multiprocessing
import os
import pickle
import signal
import traceback
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar

from dryspin.errors import DryspinError, RigError

T = TypeVar("T")
R = TypeVar("R")

Work = Callable[[T, Callable[[int], None]], R]
"""Does one task; the second argument takes the progress within it, a count."""


class _LostError(RigError):
    """A worker process died."""


class WorkerDefectError(Exception):
    """An exception nobody foresaw, from inside a worker; its text is the traceback there."""


def cores() -> int:
    """CPU cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def run_tasks(
    work: Work[T, R],
    tasks: Sequence[T],
    workers: int,
    progress: Callable[[int], None] = lambda _: None,
    lost: Callable[[T, str], R] | None = None,
    done: Callable[[T, R], None] = lambda task, result: None,
) -> list[R]:
    """Do all tasks, at most `workers` at a time; `progress` gets the sum of their counts.

    lost: the result of a task whose process died, from the task and how. done: is told each result as it
    comes, in whatever order. Raises the DryspinError of the first task (in their order) that raised one,
    RigError where a process died, WorkerDefectError for anything else. On any way out no process is left.
    """
    results: dict[int, R] = {}
    failures: dict[int, Exception] = {}
    counts = [0] * len(tasks)
    running: dict[Connection, tuple[int, BaseProcess]] = {}
    waiting = list(range(len(tasks)))
    try:
        while (waiting and not failures) or running:
            while waiting and len(running) < max(workers, 1) and not failures:
                index = waiting.pop(0)
                running |= [_start(work, tasks[index], index)]
            for ready in wait(list(running)):
                assert isinstance(ready, Connection)
                index, process = running[ready]
                kind, content = _receive(ready, process)
                if kind == "progress":
                    counts[index] = content
                    progress(sum(counts))
                    continue
                del running[ready]
                process.join()
                ready.close()
                if kind == "result":
                    results[index] = content
                elif lost is not None and isinstance(content, _LostError):
                    results[index] = lost(tasks[index], str(content))
                else:
                    failures[index] = content
                if index in results:
                    done(tasks[index], results[index])
    finally:
        for connection, (_, process) in running.items():
            process.terminate()
            process.join()
            connection.close()
    if failures:
        raise failures[min(failures)]
    return [results[index] for index in range(len(tasks))]


def _start(work: Work[T, R], task: T, index: int) -> tuple[Connection, tuple[int, BaseProcess]]:
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_worker, args=(work, task, there), daemon=True)
    # A signal in the middle of a fork would be lost in the parent, or meet the worker unprepared.
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
    try:
        process.start()
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
    there.close()
    return here, (index, process)


def _receive(connection: Connection, process: BaseProcess) -> tuple[str, Any]:
    try:
        kind, content = connection.recv()
    except EOFError:
        process.join()
        code = process.exitcode or 0
        how = f"signal {signal.Signals(-code).name}" if code < 0 else f"exit code {code}"
        return "failure", _LostError(
            f"a worker process died ({how}) while running the firmware; "
            "run again with --workers 1 and --only FAMILY to narrow it down"
        )
    return kind, content


def _worker(work: Work[T, R], task: T, connection: Connection) -> None:
    # Ctrl-C reaches the whole process group; the parent decides and ends its workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT, signal.SIGTERM})
    try:
        message: tuple[str, object] = ("result", work(task, lambda n: connection.send(("progress", n))))
    except DryspinError as error:
        message = ("failure", error)
    except Exception:
        message = ("failure", WorkerDefectError(traceback.format_exc()))
    try:
        connection.send(message)
    except BrokenPipeError:
        # The parent is gone; nobody is left to tell.
        pass
    except (pickle.PicklingError, TypeError, AttributeError):
        connection.send(("failure", WorkerDefectError(traceback.format_exc())))
    connection.close()
