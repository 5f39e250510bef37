"""Fixtures that several packages of tests share."""

from __future__ import annotations

from tests.firmware.conftest import avr_elf, host_program

__all__ = ["avr_elf", "host_program"]
