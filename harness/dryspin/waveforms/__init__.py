"""Recordings on their way out: value change dumps, tables, sound. Nothing here judges."""

from dryspin.waveforms.channels import Channel, Kind, Window, channels_of
from dryspin.waveforms.csv_file import save_csv
from dryspin.waveforms.sound import RenderedTone, render_tones, save_wav
from dryspin.waveforms.terminals import terminal_voltages
from dryspin.waveforms.vcd_file import save_vcd

__all__ = [
    "Channel",
    "Kind",
    "RenderedTone",
    "Window",
    "channels_of",
    "render_tones",
    "save_csv",
    "save_vcd",
    "save_wav",
    "terminal_voltages",
]
