"""Every exception of dryspin that a user can meet, with its causes and remedy.

A message says what was given, what it clashed with and what to do next, with file and key or
line. The command line prints `str(error)` and exits with 2; a traceback is a defect of dryspin.
"""


class DryspinError(Exception):
    """Base of all errors that dryspin raises on purpose.

    Causes: see the subclasses. Remedy: the message ends with the next step.
    """


class UnitError(DryspinError, ValueError):
    """A duration that is not a whole number of cycles or ticks, where whole ones are needed; or no note.

    Remedy: choose a duration on the grid, or ask for rounding; write a note as letter and octave.
    """


class DriveError(DryspinError):
    """`drive.toml` cannot be read, or describes a drive that cannot exist or cannot run.

    Causes: a TOML mistake; an unknown, missing or mistyped key; another unit than the key's name
    says; a physically impossible value; two values that contradict each other (kv and kt, divider
    and supply); something the rig does not model yet.
    Remedy: the message names file, key, value, limit and what to write instead.
    """


class ClaimsError(DryspinError):
    """`claims.toml` cannot be read, or names a family, claim or limit that does not exist.

    Remedy: the message names the nearest known name; a changed limit and a suppression each
    need a `why`.
    """


class ScenarioError(DryspinError):
    """A scenario cannot be read, contradicts itself, or asks for parts outside the drive's ranges.

    Causes: not a scenario file or another version of the format; breakpoints out of order;
    a value that is not finite; a fault kind that the rig cannot cause.
    Remedy: the message names file and key or line.
    """


class BuildError(DryspinError):
    """The firmware does not compile, or no file matches `[firmware] sources`.

    Remedy: the compiler's own words are in the message; a missing compiler is named.
    """


class TargetError(DryspinError):
    """The object code for the part cannot be made, or not be measured.

    Causes: the part's compiler is missing or objects; a loop without a known bound, recursion, a jump
    through a pointer. Remedy: the message names the place and what to write, change or install.
    """


class RigError(DryspinError):
    """The firmware cannot be run to the end of a scenario.

    Causes: it hangs without a port call, crashes, overruns its stack, returns from `main`, or
    never calls the port. Remedy: the message names the last place it was seen at.
    """


class FirmwareError(RigError):
    """The firmware crashed, hung, overran its stack, returned from `main` or set what means nothing.

    kind: "crash", "hang", "stack overflow", "end of main" or "illegal setting". line ("file.c:88") and
    function, empty where unknown; moment_s from power-on; vector of the handler it ran in, 0 for the main
    line; chain: the calls that led there as (line, function), the innermost first. Remedy: as the message
    says.
    """

    def __init__(
        self,
        text: str,
        kind: str = "crash",
        line: str = "",
        function: str = "",
        moment_s: float = 0.0,
        vector: int = 0,
        chain: tuple[tuple[str, str], ...] = (),
    ) -> None:
        super().__init__(text, kind, line, function, moment_s, vector, chain)
        self.text, self.kind, self.line, self.function = text, kind, line, function
        self.moment_s, self.vector, self.chain = moment_s, vector, chain

    def __str__(self) -> str:
        return self.text


class CallError(DryspinError):
    """A single function of the firmware cannot be called with what was given.

    Causes: an argument outside its C type, of another kind, or too few or many of them; a
    function with a variable number of arguments or with a pointer to a function; a header that
    cannot be read; a firmware that a call before has crashed.
    Remedy: the message names function, argument, type and its range.
    """


class NoFunctionError(CallError, AttributeError):
    """The firmware has no function of that name that could be called from outside.

    Causes: a typing mistake; the function is static, or no header declares it.
    Remedy: the message names the place of the definition and what to change, or the nearest name.
    """


class RecordingError(DryspinError):
    """A recording file is damaged, of another version, or lacks what was asked of it.

    Remedy: record again with this version; the message names the missing part.
    """


class CaptureError(DryspinError):
    """A capture of a real bench, or the map of its channels, cannot be read or makes no sense.

    Causes: a file that is cut off or of another kind; a channel that is not there or there twice;
    time that runs backwards or in another unit than the map says; two channels for one signal.
    Remedy: the message names file, line and channel, and what to change.
    """


class FindingError(DryspinError):
    """A finding file cannot be read, or cannot be replayed on this firmware and drive.

    Remedy: the message names file and key; hashes that moved are listed old and new.
    """


class UsageError(DryspinError):
    """dryspin was asked for something that is not there: a directory, a family, an option value.

    Remedy: the message names the nearest thing that exists.
    """


class DriveWarning(UserWarning):
    """The drive is usable but two of its numbers disagree more than measuring explains.

    Cause: kv and kt of one motor differ by 1 to 4 %. Remedy: give only the one you trust more.
    """
