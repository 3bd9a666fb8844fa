"""C text to a loaded library: firmware, virtual controller and plant in one, through cffi."""

from dryspin.build.cache import cache_root
from dryspin.build.image import Image, build_image
from dryspin.build.library import core_declarations, plant_library
from dryspin.build.sources import FirmwareText, firmware_text
from dryspin.build.toolchain import Compiler, find_compiler

__all__ = [
    "Compiler",
    "FirmwareText",
    "Image",
    "build_image",
    "cache_root",
    "core_declarations",
    "find_compiler",
    "firmware_text",
    "plant_library",
]
