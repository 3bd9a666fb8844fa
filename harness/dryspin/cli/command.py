"""Entry point: sub-commands, exit codes, and the rule that no user ever meets a traceback."""

import os
import signal
import sys
import traceback
import warnings
from collections.abc import Sequence
from typing import NoReturn

import click

from dryspin import __version__
from dryspin.cli.check import check
from dryspin.cli.doctor import doctor
from dryspin.cli.enumerate import enumerate_
from dryspin.cli.judge import judge
from dryspin.cli.known_bad import known_bad
from dryspin.cli.lint import lint
from dryspin.cli.mutate import mutate
from dryspin.cli.new import new
from dryspin.cli.overlay import overlay
from dryspin.cli.replay import replay
from dryspin.cli.report import report
from dryspin.cli.run import run
from dryspin.cli.soak import soak
from dryspin.cli.timing import timing
from dryspin.errors import DryspinError

EXIT_HELD, EXIT_BROKEN, EXIT_COULD_NOT_RUN, EXIT_INTERRUPTED = 0, 1, 2, 130

CAUTIONS = """\b
Cautions
  A pass is no permission to spin: it speaks of these scenarios, on a model.
  Before a real motor turns: propeller off, motor held down, supply with a
  current limit, eye protection, hands and hair away. A short or a wrong step
  can set a lithium battery on fire: test on a supply first, charge and store
  batteries where they may burn.
  Local codes and the practice of licensed professionals go before anything
  said here."""


@click.group(epilog=CAUTIONS, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="dryspin")
def dryspin() -> None:
    """Prove the firmware of a brushless drive in virtual time.

    The firmware's control logic is compiled for this machine and runs against
    a model of motor, bridge and supply. Claims (no short across a leg, no step
    out of order, no drive before arming, ...) are judged in every run; a claim
    that breaks is shown with the shortest scenario that breaks it and the line
    of firmware that acted.

    \b
    A first session
      dryspin doctor
      dryspin check firmware_under_test/bow_thruster
      dryspin replay traces/found/reversal-opposing-drive-1.toml
      dryspin report traces/found/reversal-opposing-drive-1.toml
      dryspin run firmware_under_test/bow_thruster scenario.toml --out run.npz
      dryspin enumerate firmware_under_test/bow_thruster
      dryspin soak firmware_under_test/bow_thruster --scenarios 10000

    \b
    Beside the real drive
      dryspin run firmware_under_test/bow_thruster scenario.toml --vcd run.vcd
      dryspin judge capture.csv --map map.toml --drive drive.toml
      dryspin overlay run.npz capture.csv --map map.toml

    \b
    With a firmware of one's own
      dryspin new my_thruster --from thruster.ino
      dryspin check my_thruster

    \b
    Is a pass worth anything?
      dryspin known-bad
      dryspin mutate firmware_under_test/bow_thruster --file arming.c

    \b
    Exit codes
      0    every claim held
      1    a claim broke, or a declared claim was never exercised
      2    could not run: bad input, firmware that does not build or hangs
      130  interrupted
    """


dryspin.add_command(new)
dryspin.add_command(check)
dryspin.add_command(lint)
dryspin.add_command(timing)
dryspin.add_command(run)
dryspin.add_command(replay)
dryspin.add_command(judge)
dryspin.add_command(overlay)
dryspin.add_command(report)
dryspin.add_command(enumerate_)
dryspin.add_command(soak)
dryspin.add_command(known_bad)
dryspin.add_command(mutate)
dryspin.add_command(doctor)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command and exit with its code."""
    # As Ctrl-C: a time limit or a CI that ends us must not leave workers behind.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    sys.exit(exit_code(arguments))


def exit_code(arguments: Sequence[str] | None = None) -> int:
    """Run the command; every way out of it becomes an exit code and at most one short message."""
    try:
        with warnings.catch_warnings():
            warnings.showwarning = _show_warning
            code = dryspin.main(arguments, prog_name="dryspin", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else EXIT_HELD
    except click.ClickException as error:
        error.show()
        return EXIT_COULD_NOT_RUN
    except (KeyboardInterrupt, click.Abort):
        # click has begun a new line already, below the terminal's ^C
        click.echo("interrupted; nothing was saved", err=True)
        return EXIT_INTERRUPTED
    except DryspinError as error:
        click.echo(f"dryspin: {error}", err=True)
        return EXIT_COULD_NOT_RUN
    except BrokenPipeError:
        # The reader of our output has left; Python must not complain about it at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_COULD_NOT_RUN
    except Exception as error:
        click.echo(_defect(error), err=True)
        return EXIT_COULD_NOT_RUN


def _defect(error: Exception) -> str:
    """What to say about an exception nobody foresaw, here or in a worker."""
    text = str(error) if type(error).__name__ == "WorkerDefectError" else ""
    text = text or "".join(traceback.format_exception(error))
    if os.environ.get("DRYSPIN_TRACEBACK"):
        return text
    frames = [line.strip() for line in text.splitlines() if line.lstrip().startswith("File ")]
    last = frames[-1] if frames else "an unknown place"
    what = text.strip().splitlines()[-1]
    return (
        f"dryspin: failed by a defect of its own: {what}\n"
        f"  in {last}\n"
        "Please report it with the command line, the versions (dryspin --version) and the output of\n"
        "the same command after: export DRYSPIN_TRACEBACK=1"
    )


def _show_warning(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: object = None,
    line: str | None = None,
) -> None:
    click.echo(f"dryspin: warning: {message}", err=True)
