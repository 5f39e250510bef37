"""Fixtures that several packages of tests share."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

from tests.firmware.conftest import avr_elf, host_program

# How fast the machine is does not decide a test: a busy one must not fail it.
settings.register_profile("project", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("project")

__all__ = ["avr_elf", "host_program"]
