"""Runs effects on link and storage, and turns their events into news for the steps. No Textual."""

from probe.runtime.conductor import Activity, Conductor, MapStore

__all__ = ["Activity", "Conductor", "MapStore"]
