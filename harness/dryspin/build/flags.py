"""Compiler flags, each with its reason."""

LANGUAGE = ("-std=c11",)

WARNINGS = ("-Wall", "-Wextra")

POSITION = (
    "-fPIC",
    "-fvisibility=hidden",  # hooks and port calls bind inside the library: direct calls
)

SAME_BITS = (
    "-ffp-contract=off",  # no fused multiply-add: the same bits at every optimisation level
    "-fno-fast-math",  # sign tests at exactly zero are part of the plant's logic
)

CORE = (
    *LANGUAGE,
    *WARNINGS,
    "-Werror",
    *POSITION,
    *SAME_BITS,
    "-g",
    "-fno-omit-frame-pointer",  # a port call finds its caller's caller through the frames
)

CLANG_CORE = ("-fno-sanitize=undefined",)  # which the wheel's driver turns on at -O0

WIDE = ("-mavx2",)
"""Where the processor has it: instructions with a target of their own. The same sums in the same order, and
no fused multiply-add, which it does not turn on: the same bits."""

FIRMWARE = (
    *LANGUAGE,
    *WARNINGS,
    *POSITION,
    *SAME_BITS,
    "-g",  # lines behind every edge
    "-fno-omit-frame-pointer",
    "-fno-strict-aliasing",  # the part's compilers are used without it as often as with it
    "-Dmain=fw_main",  # main() runs on a stack of its own, started by the core
)

GCC_FIRMWARE = (
    "-fsanitize-coverage=trace-pc",  # a hook per basic block: time of plain code, and hangs
    "-fno-move-loop-stores",  # else stores to plain variables leave endless loops
)

CLANG_FIRMWARE = (
    # Without no-prune, loops of one block carry no hook and hang the host.
    "-fsanitize-coverage=bb,no-prune,trace-pc",
    # Else a port call at the end of a function is a jump, and its caller's line stands behind the edge.
    "-fno-optimize-sibling-calls",
    "-fno-sanitize=undefined",  # the wheel's driver turns it on at -O0; the checked build, behind this, again
)

CHECKED = (
    "-fsanitize=thread",  # a hook per memory access; core/access.c stands in for the run-time library
    "-fsanitize=undefined",  # a call where C leaves the result open; core/undefined.c
    "-fno-sanitize=object-size",  # the gaps show it, and every other step beyond a variable, once
    "-fdata-sections",  # gaps between variables; spacing.py
    "-gdwarf-4",  # addresses of variables stand in the entries themselves
    "-fno-builtin",  # else copies are expanded in place, without a hook
)

GCC_CHECKED = (
    "--param=tsan-distinguish-volatile=1",
    "--param=tsan-instrument-func-entry-exit=0",  # frames tell the chain of calls
)

CLANG_CHECKED = (
    *("-mllvm", "-tsan-distinguish-volatile"),
    *("-mllvm", "-tsan-instrument-read-before-write"),  # else `n |= 4` shows its write only
    *("-mllvm", "-tsan-instrument-func-entry-exit=0"),
    *("-mllvm", "-tsan-instrument-atomics=0"),
    "-fno-sanitize=function",  # a part has one address a function; its hooks want a run-time library
)

C_REGISTERS = ("-std=gnu11",)  # C11, with the asm and typeof that firmware for the part is written with

CPP_REGISTERS = (
    *("-x", "c++", "-std=gnu++17"),
    "-fno-exceptions",  # as the part's compilers are used: no unwinding on it
    "-fno-rtti",
    "-fno-threadsafe-statics",
    "-fno-finite-loops",  # else clang takes `for (;;) {}`, in which handlers work, for impossible
)

PART_MACROS = (
    "-D__AVR__",
    "-D__AVR_ATmega168__",
    "-D__AVR_ARCH__=5",
    "-D__flash=",  # one address space
)

REGISTER_FIRMWARE = (
    *WARNINGS,
    *POSITION,
    *SAME_BITS,
    "-g",
    "-fno-omit-frame-pointer",
    "-fno-strict-aliasing",
    "-fsanitize=thread",  # a hook before every access to memory, registers too; linked without its runtime
    *PART_MACROS,
)

GCC_REGISTERS = (*GCC_FIRMWARE, "--param", "tsan-instrument-func-entry-exit=0")

CLANG_REGISTERS = (
    *CLANG_FIRMWARE,
    # else the read of a change in place goes unseen
    *("-mllvm", "-tsan-instrument-read-before-write"),
    *("-mllvm", "-tsan-instrument-func-entry-exit=0"),
)

CHECKED_REGISTERS = (
    "-fsanitize=undefined",
    "-fno-sanitize=object-size",  # as for CHECKED
    "-fno-sanitize=alignment",  # the part has bytes only: nothing on it is misaligned
    "-fno-sanitize=vptr",  # asks for -frtti
    "-fdata-sections",
    "-gdwarf-4",
    "-fno-builtin",
)

GCC_CHECKED_REGISTERS = ("--param=tsan-distinguish-volatile=1",)

CLANG_CHECKED_REGISTERS = (
    *("-mllvm", "-tsan-distinguish-volatile"),
    *("-mllvm", "-tsan-instrument-atomics=0"),
    "-fno-sanitize=function",
)

LINK = (
    "-shared",
    "-Wl,-z,now",  # lazily bound entries would lie among the firmware's variables
    "-Wl,-z,relro",
    "-Wl,-z,defs",  # an unknown function is a build error, not a crash
    "-Wl,-z,noexecstack",
)

LIBRARIES = ("-lm",)  # floor, ceil: exact functions only
