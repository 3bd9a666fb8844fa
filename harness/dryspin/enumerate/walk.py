"""Breadth first over the states of the firmware: shortest sequences come first, equal states once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any, Protocol

from dryspin.drive import Claims, Drive
from dryspin.enumerate.ledger import AT_POWER_ON, Entitlement, Seen, seen_in
from dryspin.enumerate.pulses import FIRST_FRAME, HIGH, KINDS, NEUTRAL, NONE, scenario_of, width_us, words
from dryspin.errors import DriveError, RigError, UsageError
from dryspin.findings import BROKEN, Outcome, Trial
from dryspin.monitors import Limits
from dryspin.rig import Rig
from dryspin.rig.frames import Frames, Standing
from dryspin.scenario import Scenario
from dryspin.search import ScenarioFailedError

BEYOND_THE_RITE = 12
"""Frames that follow the rite by default: a lost signal, and the rite once more for what it hides."""

LONGEST = 120
"""Frames gone through for a rite that does not end."""

LOOKED_AT = 24
"""Pairs of states taken for one whose futures are compared."""

EVERY = 37
"""One of so many such pairs, so that they are spread over the whole."""

FUTURES = ((NEUTRAL,) * 30, (NONE,) * 14 + (HIGH,) * 4)
"""What those pairs are put through: the whole rite; a lost signal, then the stick up."""

FAMILY = "arming"


class Enumerable(Protocol):
    """What an enumeration needs of its subject; `findings.Subject` is one."""

    @property
    def drive(self) -> Drive:
        """The drive."""

    @property
    def claims(self) -> Claims:
        """The claims the firmware is held to."""

    @property
    def rig(self) -> Rig:
        """The firmware on the rig."""

    def try_out(self, scenario: Scenario) -> Trial:
        """Run and judge one scenario."""


@dataclass(frozen=True)
class Objection:
    """A shortest sequence that breaks a claim, as the monitors judge its scenario."""

    kinds: tuple[str, ...]
    scenario: Scenario
    outcome: Outcome
    digest: str


@dataclass(frozen=True)
class Enumeration:
    """What came of it.

    frames: length of the longest sequence gone through, from `first` on, when main() has begun. states: told
    apart; sequences: frames run. arms: the shortest sequence that arms, None where none does. driving: how
    often the bridge came to drive, which is not followed. closed_at: after so many frames every state had
    been met before; None where the length ended it. dismissed: suspicions that the monitors did not share.
    compared: pairs of states taken for one whose futures were compared.
    """

    frame_ms: float
    frames: int
    states: int
    sequences: int
    arms: tuple[str, ...] | None
    driving: int
    closed_at: int | None
    dismissed: int
    compared: int
    objection: Objection | None

    @property
    def passed(self) -> bool:
        """Nothing was objected to, and the firmware can be armed at all."""
        return self.objection is None and self.arms is not None


@dataclass(slots=True)
class _Node:
    parent: int
    kind: str
    standing: Standing | None
    entitlement: Entitlement
    seen: Seen


def enumerate_rites(
    subject: Enumerable,
    *,
    frames: int | None = None,
    frame_ms: float = 20.0,
    notice: Callable[[str, int, int], None] = lambda what, done, total: None,
) -> Enumeration:
    """Go through all sequences of frames of the seven kinds, shortest first, from power-on.

    Their length: that of the rite, which is found, and `frames` more, so that so many follow every phase of
    it; by default the rite's own length and 12. Sequences after which firmware, controller and rotor stand
    alike are one. Stops at the first sequence to which a claim of arming objects. Raises UsageError where
    none is declared, DriveError where [timekeeping] takes states for one that behave differently,
    ScenarioFailedError where the firmware crashes.
    """
    return _Walk(subject, frames, frame_ms, notice).through()


class _Walk:
    def __init__(
        self,
        subject: Enumerable,
        frames: int | None,
        frame_ms: float,
        notice: Callable[[str, int, int], None],
    ) -> None:
        if not any(claim.startswith(f"{FAMILY}.") for claim in subject.claims.declared):
            raise UsageError(
                f"{subject.claims.path} declares no claim of family {FAMILY!r}; declare it there"
            )
        self._subject, self._frame_ms, self._more, self._notice = subject, frame_ms, frames, notice
        limits = Limits(subject.drive, subject.claims)
        self._needed = int(limits["arm_frames"])
        self._lost_frames = limits["loss_s"] * 1000.0 / frame_ms
        # main() begins 65 ms after power-on
        self._first = max(FIRST_FRAME, int(80.0 // frame_ms))
        longest_s = (self._first + LONGEST + (frames or LONGEST) + 2 + len(FUTURES[0])) * frame_ms / 1000.0
        self._rig_frames = Frames(subject.rig, Scenario(0, round(longest_s, 6), 0.0, frame_ms, ((0.0, 0.0),)))
        self._widths = {kind: width_us(kind, subject.drive.throttle) for kind in KINDS}
        self._nodes: list[_Node] = []
        self._known: dict[Any, int] = {}
        self._arms: tuple[str, ...] | None = None
        self._sequences = self._driving = self._dismissed = self._merged = self._compared = 0

    def through(self) -> Enumeration:
        level, depth = [self._root()], 0
        if (self._nodes[0].seen.armed or self._nodes[0].seen.drives) and (objection := self._confirmed(())):
            return self._result(0, None, objection)
        while level and depth < self._limit():
            self._notice("frames", depth, min(self._limit(), LONGEST))
            depth += 1
            following: list[int] = []
            for index in level:
                for kind in KINDS:
                    objection = self._step(index, kind, following)
                    if objection:
                        return self._result(depth, None, objection)
                self._nodes[index].standing = None
            level = following
        return self._result(depth, None if level else depth, None)

    def _limit(self) -> int:
        if self._arms is None:
            return LONGEST
        rite = len(self._arms)
        return rite + (rite + BEYOND_THE_RITE if self._more is None else self._more)

    def _root(self) -> int:
        standing, edges = self._rig_frames.from_power_on(self._first)
        seen = seen_in(edges, AT_POWER_ON)
        self._nodes.append(_Node(-1, "", standing, Entitlement(), seen))
        self._known[_key(standing, Entitlement(), seen)] = 0
        return 0

    def _step(self, index: int, kind: str, following: list[int]) -> Objection | None:
        """One frame more; new states go to `following`."""
        node = self._nodes[index]
        assert node.standing is not None
        self._sequences += 1
        try:
            standing, edges = self._rig_frames.after(node.standing, self._widths[kind])
        except RigError as error:
            raise ScenarioFailedError(
                f"after {words((*self._path(index), kind))}: {error}",
                self._scenario((*self._path(index), kind)),
            ) from None
        seen = seen_in(edges, node.seen)
        entitlement = node.entitlement.after(kind, self._needed, self._lost_frames)
        entitlement, suspicion = entitlement.judged(seen, kind, self._needed)
        if suspicion and (objection := self._confirmed((*self._path(index), kind))):
            return objection
        if seen.armed and self._arms is None and not suspicion:
            self._arms = (*self._path(index), kind)
        if seen.drives:
            self._driving += 1
            return None
        key = _key(standing, entitlement, seen)
        if key in self._known:
            self._merged += 1
            if self._merged % EVERY == 0 and self._compared < LOOKED_AT:
                self._compare((*self._path(index), kind), self._path(self._known[key]), seen, standing)
            return None
        self._known[key] = len(self._nodes)
        following.append(len(self._nodes))
        self._nodes.append(_Node(index, kind, standing, entitlement, seen))
        return None

    def _confirmed(self, kinds: tuple[str, ...]) -> Objection | None:
        scenario = self._scenario(kinds)
        trial = self._subject.try_out(scenario)
        for outcome in trial.outcomes:
            if outcome.status == BROKEN and outcome.claim.startswith(f"{FAMILY}."):
                return Objection(kinds, scenario, outcome, trial.digest)
        self._dismissed += 1
        return None

    def _compare(self, one: tuple[str, ...], other: tuple[str, ...], seen: Seen, standing: Standing) -> None:
        """Put two sequences that are taken for one through the same futures; what is said must agree."""
        self._compared += 1
        again = self._standing_after(other)
        for future in FUTURES:
            a, b = (self._told(start, seen, future) for start in (standing, again))
            if a != b:
                k = next(k for k, pair in enumerate(zip(a, b, strict=True)) if pair[0] != pair[1])
                raise DriveError(
                    f"{self._subject.drive.path}: [timekeeping] takes for one what behaves differently: "
                    f"({words(one)}) and ({words(other)}), each followed by ({words(future[: k + 1])}); "
                    "leave variables out of it, or raise their ages, until these are told apart"
                )

    def _standing_after(self, kinds: Sequence[str]) -> Standing:
        standing, _ = self._rig_frames.from_power_on(self._first)
        for kind in kinds:
            standing, _ = self._rig_frames.after(standing, self._widths[kind])
        return standing

    def _told(self, standing: Standing, seen: Seen, future: Sequence[str]) -> list[tuple[object, ...]]:
        """What the firmware says in each frame of a future, up to where it drives."""
        told: list[tuple[object, ...]] = []
        for kind in future:
            if seen.drives:
                told.append(())
                continue
            standing, edges = self._rig_frames.after(standing, self._widths[kind])
            seen = seen_in(edges, seen)
            told.append((seen.words, seen.drives))
        return told

    def _path(self, index: int) -> tuple[str, ...]:
        kinds = []
        while index > 0:
            kinds.append(self._nodes[index].kind)
            index = self._nodes[index].parent
        return tuple(reversed(kinds))

    def _scenario(self, kinds: Sequence[str]) -> Scenario:
        return scenario_of(kinds, self._subject.drive.throttle, self._frame_ms, self._first)

    def _result(self, depth: int, closed_at: int | None, objection: Objection | None) -> Enumeration:
        return Enumeration(
            frame_ms=self._frame_ms,
            frames=depth,
            states=len(self._nodes),
            sequences=self._sequences,
            arms=self._arms,
            driving=self._driving,
            closed_at=closed_at,
            dismissed=self._dismissed,
            compared=self._compared,
            objection=objection,
        )


def _key(standing: Standing, entitlement: Entitlement, seen: Seen) -> Any:
    return blake2b(standing.print, digest_size=16).digest(), entitlement, seen.mark, seen.gates
