"""Fixtures that several packages of tests share."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

from tests.firmware.conftest import avr_elf, host_program

# How fast the machine is does not decide a test: a busy one must not fail it.
settings.register_profile("full", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=100)
settings.register_profile("quick", settings.get_profile("full"), max_examples=25)
settings.load_profile("quick")  # `.ci/run` asks for the full one

__all__ = ["avr_elf", "host_program"]
