"""Cycles of each source line in the part's object code.

A line costs its instructions once each, a branch or skip its dearer way. Where the compiler makes a loop
inside one line (a shift by several bits), the loop counts as often as it is passed. A function that was
inlined or copied counts as the mean of its copies. What the compiler has put before a loop of the source is
told apart. A call of a library routine costs the routine. A call
of the seam costs nothing here, as it is built in on the part; a jump to it, which ends a function, costs
a return. Nor does what the virtual part charges itself at register level.
"""

from collections import defaultdict
from collections.abc import Mapping, Set
from dataclasses import dataclass, field

from dryspin.target.entries import entries_of
from dryspin.target.instructions import Instruction
from dryspin.target.program import Code, Owner

_FIXED = {
    "icall": 3, "ijmp": 2, "ret": 4, "reti": 4, "call": 4, "rcall": 3, "jmp": 3, "rjmp": 2,
}  # fmt: skip
"""AVR Instruction Set Manual, Microchip DS40002198, "Instruction Set Summary", column AVRe (from memory)."""

_BRANCH_TAKEN = 2

_LEAVING = {"pop", "ret", "reti"}

ASSUMED_PASSES = 8
"""Of a loop inside one line, or a library routine, that does not count down from a constant: half of the
sixteen bits of the part's int; an assumption, told beside every result."""

LOOK_BACK = 10
"""Instructions between loading a loop's counter and the loop, at most."""


@dataclass(frozen=True)
class LineCycles:
    """`of_line`: "file.c:88" to cycles each time it runs, but for what stands before a loop.

    entering: line to the cycles of lines in the loop below it that are charged with it (`entries.py`).
    heads: first lines of loops.
    assumed: loops whose passes the code does not tell, by place.
    """

    of_line: Mapping[str, float]
    entering: Mapping[str, float]
    heads: frozenset[str]
    owners: Mapping[str, Owner]
    assumed: tuple[str, ...]


def line_cycles(code: Code) -> LineCycles:
    """Cycles of every line of the firmware that left instructions."""
    counting = _Counting(code)
    weights = counting.weights()
    entries = entries_of(code, weights.keys())
    runs: dict[tuple[int, str], dict[str, float]] = defaultdict(lambda: {"stay": 0.0, "leave": 0.0})
    entered: dict[tuple[int, str], float] = defaultdict(float)
    for run in _runs(code):
        cost = {at: counting.cost(code.instructions[at]) * weights.get(at, 1) for at in run}
        copy = code.copies.get(run[0], -1)
        for at in entries.above.keys() & cost.keys():
            entered[copy, entries.above[at]] += cost.pop(at)
        for at in entries.around.keys() & cost.keys():
            runs[copy, entries.around[at]]["stay"] += cost.pop(at)
        sums = runs[copy, code.lines[run[0]]]
        if all(_leaves(code, code.instructions[at]) for at in run):
            # copies of one way out: a call of the function takes one of them
            sums["leave"] = max(sums["leave"], sum(cost.values()))
        else:
            sums["stay"] += sum(cost.values())
    number: dict[Owner, int] = defaultdict(int)
    for owner in code.owners.values():
        number[owner] += 1
    found: dict[str, float] = defaultdict(float)
    before: dict[str, float] = defaultdict(float)
    owners: dict[str, Owner] = {}
    for (copy, line), both in runs.items():
        owners[line] = owner = code.owners.get(copy, ("", 0, ""))
        found[line] += sum(both.values()) / max(number[owner], 1)
    for (copy, line), cycles in entered.items():
        before[line] += cycles / max(number[code.owners.get(copy, ("", 0, ""))], 1)
    assumed = tuple(dict.fromkeys(counting.assumed))
    return LineCycles(dict(found), dict(before), entries.heads, owners, assumed)


def _runs(code: Code) -> list[list[int]]:
    """Addresses in a row of one line in one copy."""
    found: list[list[int]] = []
    before: tuple[str, int] | None = None
    for at in sorted(code.lines):
        here = code.lines[at], code.copies.get(at, -1)
        follows = bool(found) and code.instructions[found[-1][-1]].next == at
        if here == before and follows:
            found[-1].append(at)
        else:
            found.append([at])
        before = here
    return found


def _leaves(code: Code, instruction: Instruction) -> bool:
    """Part of the way out of a function: registers put back, return, or a jump into another function."""
    if instruction.name in _LEAVING:
        return True
    away = instruction.name in ("jmp", "rjmp") and instruction.target in code.functions | code.stubs
    return away or (instruction.name == "out" and instruction.operands[0] in ("0x3d", "0x3e", "0x3f"))


@dataclass
class _Counting:
    code: Code
    assumed: list[str] = field(default_factory=list)
    _routines: dict[int, float] = field(default_factory=dict)

    def cost(self, instruction: Instruction, inside: Set[int] = frozenset()) -> float:
        """Cycles of an instruction, and of the library routine it calls or leaves to but for `inside`."""
        return self._whole(instruction, inside) - self.code.apart.get(instruction.address, 0)

    def _whole(self, instruction: Instruction, inside: Set[int]) -> float:
        name = instruction.name
        if name in ("call", "rcall") and not instruction.allocates:
            if instruction.target in self.code.stubs:
                return 0.0
            return _FIXED[name] + self.routine(instruction.target)
        if name in ("jmp", "rjmp"):
            if instruction.target in self.code.stubs:
                return _FIXED["ret"]
            return _FIXED[name] + (0.0 if instruction.target in inside else self.routine(instruction.target))
        if name in _FIXED:
            return _FIXED[name]
        if name.startswith("br"):
            return _BRANCH_TAKEN
        if instruction.skips:
            following = self.code.instructions.get(instruction.next)
            return 1 + (following.size if following else 2) // 2
        return instruction.plain_cycles

    def routine(self, entry: int) -> float:
        """Cycles of the library routine there; none if it is a place in the firmware."""
        if entry in self.code.lines or entry in self.code.stubs or entry not in self.code.instructions:
            return 0.0
        if entry not in self._routines:
            self._routines[entry] = 0.0  # a recursion in it would count once
            body = self._body(entry)
            weights = self._weigh(body, self.code.names.get(entry, f"{entry:#x}"))
            self._routines[entry] = sum(
                self.cost(self.code.instructions[at], body) * weights.get(at, 1) for at in body
            )
        return self._routines[entry]

    def _body(self, entry: int) -> set[int]:
        """Instructions of a routine that can be reached without a call."""
        found: set[int] = set()
        waiting = [entry]
        while waiting:
            at = waiting.pop()
            instruction = self.code.instructions.get(at)
            if at in found or instruction is None or at in self.code.lines:
                continue
            found.add(at)
            if instruction.name.startswith("br") or instruction.name in ("jmp", "rjmp"):
                waiting.append(instruction.target)
            if instruction.name not in ("jmp", "rjmp", "ret", "reti", "ijmp"):
                waiting.append(instruction.next)
            if instruction.skips and (following := self.code.instructions.get(instruction.next)):
                waiting.append(following.next)
        return found

    def weights(self) -> dict[int, int]:
        """How often an instruction runs each time its line does, where that is not once."""
        found: dict[int, int] = {}
        for run in _runs(self.code):
            found |= self._weigh(set(run), self.code.lines[run[0]])
        return found

    def _weigh(self, body: set[int], place: str) -> dict[int, int]:
        """Loops that lie wholly in `body`: passes of each instruction."""
        found: dict[int, int] = {}
        for at in sorted(body):
            jump = self.code.instructions[at]
            # only what counts is the compiler's: other loops are the source's own, with their own blocks
            if not jump.name.startswith("br") or jump.target > at or jump.target not in body:
                continue
            if (counter := self._counter(at)) is None:
                continue
            passes = self._loaded(jump.target, counter)
            if passes is None:
                passes = ASSUMED_PASSES
                self.assumed.append(place)
            loop = [each for each in body if jump.target <= each <= at]
            found |= {each: passes * found.get(each, 1) for each in loop}
        return found

    def _counter(self, at: int) -> str | None:
        """The register that is counted down right before the branch at `at`, if one is."""
        before = self.code.instructions.get(at - 2)
        return before.operands[0] if before is not None and before.name == "dec" else None

    def _loaded(self, head: int, counter: str) -> int | None:
        """The constant in `counter` where the code runs into the loop at `head`; None if it is none."""
        at = head
        for _ in range(LOOK_BACK):
            if at in self.code.functions:
                return None  # a function begins here: what stands before is another's
            at = next((at - size for size in (2, 4) if self._ends(at - size, at)), -1)
            if at < 0:
                return None
            instruction = self.code.instructions[at]
            if not instruction.operands or instruction.operands[0] != counter:
                continue
            if instruction.name == "ldi":
                return int(instruction.operands[1], 16) or 256
            if instruction.name != "mov":
                return None
            counter = instruction.operands[1]
        return None

    def _ends(self, at: int, end: int) -> bool:
        instruction = self.code.instructions.get(at)
        return instruction is not None and instruction.next == end
