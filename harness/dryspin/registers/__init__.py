"""Firmware written for registers: what its sources, objects and assembly need before they meet the part.

`part/` is the part in C, `include/` the headers that firmware sees, `sketch/` the functions that sketches
call. The modules here are pure text and object work; `dryspin.build` puts them in order.
"""

from dryspin.registers.assembly import free_of_checks, hooked
from dryspin.registers.glue import Found, glue_text, look_at
from dryspin.registers.names import register_names
from dryspin.registers.places import INCLUDE, PART, SKETCH, firmware_side_texts, part_texts, treatment_texts
from dryspin.registers.sketch import is_sketch, sketch_source
from dryspin.registers.translate import translated
from dryspin.registers.vectors import vector_names

__all__ = [
    "INCLUDE",
    "PART",
    "SKETCH",
    "Found",
    "firmware_side_texts",
    "free_of_checks",
    "glue_text",
    "hooked",
    "is_sketch",
    "look_at",
    "part_texts",
    "register_names",
    "sketch_source",
    "translated",
    "treatment_texts",
    "vector_names",
]
